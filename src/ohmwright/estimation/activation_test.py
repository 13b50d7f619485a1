"""One rested activation judged on its own readings, nothing learned before taken over.

The transient model answers soonest; an answer counts only if it stands when hunting is thought
of and if the tail by itself, which knows nothing of dead time and windows, does not contradict.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .exponential_tail import fit_tail
from .mixture import Mixture
from .point import Question
from .prior import LEVEL, NoisePrior, TransientPrior, vague_prior
from .sequential_test import DecisionBounds, Estimate, TestOutcome
from .step_response import Steps
from .thermal_droop import ResidualWarmth
from .transient_estimate import ActivationRecord, FitStart, TransientEstimate
from .transient_estimator import fit_transient

Floats = NDArray[np.float64]

_MODEL = 0.05
"""What the model itself may be wrong by, in tolerances."""
_UNSEEN = 0.08
"""What the extrapolation of the lag may be wrong by, relative to the lag still to come."""
_TAIL_AGREES = 2.5
_RESTED = ResidualWarmth()
_STEP = Steps(np.zeros(1), np.array([[1.0, 0.0, 0.0, 0.0]]))


class ActivationTest:
    """Looks at the readings of one activation; `left` is the warmth it began with."""

    def __init__(
        self,
        question: Question,
        bounds: DecisionBounds,
        *,
        left: ResidualWarmth = _RESTED,
        hunting: float = 0.05,
        transient_prior: TransientPrior | None = None,
    ) -> None:
        self.question = question
        self.bounds = bounds
        self.value: Mixture | None = None
        self._left = left
        self._noise = NoisePrior(hunting=hunting)
        self._start: FitStart | None = None
        self._transient_prior = transient_prior or vague_prior()

    def look(self, age_s: Floats, value: Floats, *, hunting: bool = False) -> Estimate | None:
        """What the readings say, with hunting thought of or not; None while nothing rises."""
        question = self.question
        record = ActivationRecord(
            age_s=age_s,
            relative=value / question.target,
            steps=_STEP,
            window_s=question.window_s,
            resolution=question.resolution / question.target,
            at_age_s=question.at_age_s,
            heat=self._left.heat,
        )
        fit = fit_transient(
            record, self._transient_prior, self._noise, self._start, hunting=hunting
        )
        if fit is None:
            return None
        self._start = fit.start
        return self._as_look(fit)

    def _as_look(self, fit: TransientEstimate) -> Estimate:
        question = self.question
        relative = question.tolerance / question.target
        floor = float(
            np.linalg.norm([_MODEL * relative, _UNSEEN * fit.remainder, self._left.uncertainty])
        )
        level = fit.combination(_LEVEL).widened(1.0, floor)
        self.value = level.rescaled(0.0, 1 / question.target)
        return Estimate(
            level.rescaled(1.0, relative),
            fit.remainder / relative,
            fit.lag_s,
            question.low,
            question.high,
        )

    def answer(self, age_s: Floats, value: Floats) -> TestOutcome:
        """A decision that also stands with hunting and before the tail's witness."""
        careful = self.look(age_s, value, hunting=True)
        if careful is None:
            return "undecided"
        answer = careful.answer(self.bounds)
        if answer == "undecided" or not self._tail_agrees(age_s, value, careful):
            return "undecided"
        return answer

    def _tail_agrees(self, age_s: Floats, value: Floats, look: Estimate) -> bool:
        question = self.question
        tail = fit_tail(
            age_s,
            value,
            at_age_s=question.at_age_s,
            window_s=question.window_s,
            resolution=question.resolution,
            heat=self._left.heat,
        )
        if tail is None:
            return False
        witness = tail.value.rescaled(question.target, question.tolerance)
        return abs(witness.mean - look.value.mean) <= _TAIL_AGREES * witness.sd + 0.1


_LEVEL = np.eye(8)[LEVEL]
_LOOK_EVERY_S = 0.2


_VERIFICATION = DecisionBounds(inside=0.9955, outside=0.9955, remainder=3.0)
"""A clear case need not wait for the last of the lag, so long as it is allowed for."""


_SETTLED = 0.6
"""Lag still to come, in tolerances, that a value may be stated with."""
_LEVEL_SD = 0.5
"""A unit as found may be far off, and a leakage far below its limit."""


class VerificationTest:
    """Decides a verification point as soon as the probability is enough and the value sure enough.

    Feed `read`; it answers "undecided" until there is an answer. `value` is the estimate
    then, a Mixture in the unit of the readings with `mean`, `sd` and `dof`.

    `precision`: largest standard uncertainty of a value that is to be stated, in the unit of the
    readings; it is waited for no longer than to twice the age asked for.
    """

    def __init__(
        self,
        question: Question,
        *,
        left: ResidualWarmth = _RESTED,
        precision: float = float("inf"),
    ) -> None:
        known = vague_prior().with_level(1.0, _LEVEL_SD)
        self.watch = ActivationTest(question, _VERIFICATION, left=left, transient_prior=known)
        self._precision = precision
        self._age: list[float] = []
        self._value: list[float] = []
        self._next_look_s = 0.0
        self._remainder = float("inf")

    @property
    def value(self) -> Mixture | None:
        """The latest estimate at the age asked for."""
        return self.watch.value

    @property
    def settled(self) -> bool:
        """Whether the lag is next to gone, so that the estimate leans on little that is unseen."""
        return self._remainder <= _SETTLED

    def read(self, age_s: float, value: float) -> TestOutcome:
        """Take one reading and decide if that is possible."""
        self._age.append(age_s)
        self._value.append(value)
        if age_s < self._next_look_s:
            return "undecided"
        ages, values = np.array(self._age), np.array(self._value)
        look = self.watch.look(ages, values)
        if look is None:
            return "undecided"
        self._remainder = look.remainder
        bounds = self.watch.bounds
        self._next_look_s = age_s + max(_LOOK_EVERY_S, look.wait_s(bounds))
        if look.answer(bounds) == "undecided" or self._too_vague(age_s):
            return "undecided"
        return self.watch.answer(ages, values)

    def _too_vague(self, age_s: float) -> bool:
        value, patient = self.value, age_s < 2 * self.watch.question.at_age_s
        return patient and value is not None and value.sd > self._precision
