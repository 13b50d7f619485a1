"""One rested activation judged on its own readings, nothing learned before taken over.

The transient model answers soonest; an answer counts only if it stands when hunting is thought
of and if the tail by itself, which knows nothing of dead time and windows, does not contradict.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .decision import Answer, Bounds, Look
from .knowledge import NoisePrior, first_knowledge
from .mixture import Mixture
from .point import Question
from .response import Steps
from .tail import fit_tail
from .transient import Record, Start, Transient
from .transient_fit import fit_transient

Floats = NDArray[np.float64]

_MODEL = 0.05
"""What the model itself may be wrong by, in tolerances."""
_UNSEEN = 0.08
"""What the extrapolation of the lag may be wrong by, relative to the lag still to come."""
_TAIL_AGREES = 2.5
_STEP = Steps(np.zeros(1), np.array([[1.0, 0.0, 0.0, 0.0]]))


class Watch:
    """Looks at the readings of one activation; `heat`: droop left over from before it, 0 to 1."""

    def __init__(
        self, question: Question, bounds: Bounds, *, heat: float = 0.0, hunting: float = 0.05
    ) -> None:
        self.question = question
        self.bounds = bounds
        self.value: Mixture | None = None
        self._heat = heat
        self._noise = NoisePrior(hunting=hunting)
        self._start: Start | None = None
        self._knowledge = first_knowledge()

    def look(self, age_s: Floats, value: Floats, *, hunting: bool = False) -> Look | None:
        """What the readings say, with hunting thought of or not; None while nothing rises."""
        question = self.question
        record = Record(
            age_s=age_s,
            relative=value / question.target,
            steps=_STEP,
            window_s=question.window_s,
            resolution=question.resolution / question.target,
            at_age_s=question.at_age_s,
            heat=self._heat,
        )
        fit = fit_transient(record, self._knowledge, self._noise, self._start, hunting=hunting)
        if fit is None:
            return None
        self._start = fit.start
        return self._as_look(fit)

    def _as_look(self, fit: Transient) -> Look:
        question = self.question
        relative = question.tolerance / question.target
        floor = float(np.hypot(_MODEL * relative, _UNSEEN * fit.remainder))
        level = fit.combination(_LEVEL).widened(1.0, floor)
        self.value = level.rescaled(0.0, 1 / question.target)
        return Look(level.rescaled(1.0, relative), fit.remainder / relative, fit.lag_s)

    def answer(self, age_s: Floats, value: Floats) -> Answer:
        """A decision that also stands with hunting and before the tail's witness."""
        careful = self.look(age_s, value, hunting=True)
        if careful is None:
            return "undecided"
        answer = careful.answer(self.bounds)
        if answer == "undecided" or not self._tail_agrees(age_s, value, careful):
            return "undecided"
        return answer

    def _tail_agrees(self, age_s: Floats, value: Floats, look: Look) -> bool:
        question = self.question
        tail = fit_tail(
            age_s,
            value,
            at_age_s=question.at_age_s,
            window_s=question.window_s,
            resolution=question.resolution,
            heat=self._heat,
        )
        if tail is None:
            return False
        witness = tail.value.rescaled(question.target, question.tolerance)
        return abs(witness.mean - look.value.mean) <= _TAIL_AGREES * witness.sd + 0.1


_LEVEL = np.eye(8)[0]


_VERIFICATION = Bounds(inside=0.996, outside=0.996, remainder=3.0)
"""A clear case need not wait for the last of the lag, so long as it is allowed for."""


class PointWatch:
    """Decides a verification point as soon as the probability is enough.

    Feed `read`; it answers "undecided" until there is an answer. `value` is the estimate
    then, a Mixture in the unit of the readings with `mean`, `sd` and `dof`.
    """

    def __init__(
        self, question: Question, bounds: Bounds | None = None, *, heat: float = 0.0
    ) -> None:
        self.watch = Watch(question, bounds or _VERIFICATION, heat=heat)
        self._age: list[float] = []
        self._value: list[float] = []
        self._next_look_s = 0.0

    @property
    def value(self) -> Mixture | None:
        """The latest estimate at the age asked for."""
        return self.watch.value

    def read(self, age_s: float, value: float) -> Answer:
        """Take one reading and decide if that is possible."""
        self._age.append(age_s)
        self._value.append(value)
        if age_s < self._next_look_s:
            return "undecided"
        ages, values = np.array(self._age), np.array(self._value)
        look = self.watch.look(ages, values)
        if look is None:
            return "undecided"
        bounds = self.watch.bounds
        self._next_look_s = age_s + max(0.2, look.wait_s(bounds))
        if look.answer(bounds) == "undecided":
            return "undecided"
        return self.watch.answer(ages, values)
