"""Who looks at the readings: until a value has settled, or until its target is decided."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import hypot, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import Question
from ohmwright.estimation.prior import vague_prior
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds
from ohmwright.estimation.settled_value import Settled, settled_value
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.bench_status import TargetBand
from ohmwright.model.hardware import MeterData
from ohmwright.model.step import Point, Timing

Floats = NDArray[np.float64]

_LOOK_EVERY_S = 0.5
_LOOK_AGAIN_S = 0.2
_BOUNDS = DecisionBounds(inside=0.9955, outside=0.9955, remainder=3.0)
"""A clear case need not wait for the last of the lag, so long as it is allowed for."""
_SETTLED = 0.6
"""Lag still to come, in tolerances, that a value may be stated with."""
_LEVEL_SD = 0.5
"""A unit as found may be far off, and a leakage far below its limit."""
_PRECISION, _RELATIVE_PRECISION = 0.125, 0.01
"""Standard uncertainty at which a decided value is good to state: parts of tolerance, of target."""
_ONE_SIDED = 0.05
"""What counts as the tolerance of a target that is a limit itself, relative."""


class UntilSettled:
    """Any value will do as soon as it has settled, no earlier than the age asked for.

    `at_age_s`: that age; `window_s`, `resolution_ma`: the meter's averaging time and last digit.
    What the warmth at the start makes unsure of the value is part of its uncertainty.
    """

    def __init__(
        self, at_age_s: float, window_s: float, resolution_ma: float, warmth: ResidualWarmth
    ) -> None:
        self._at_age_s, self._window_s, self._resolution_ma = at_age_s, window_s, resolution_ma
        self._warmth = warmth
        self._age_s: list[float] = []
        self._current_ma: list[float] = []
        self._look_at_s = at_age_s

    def read(self, age_s: float, current_ma: float) -> bool:
        """Look every half second."""
        self.note(age_s, current_ma)
        if age_s < self._look_at_s:
            return False
        self._look_at_s = age_s + _LOOK_EVERY_S
        settled = self.settled()
        return settled is not None and settled.settled

    def note(self, age_s: float, current_ma: float) -> None:
        """Keep a reading without a look."""
        self._age_s.append(age_s)
        self._current_ma.append(current_ma)

    @property
    def readings(self) -> tuple[Floats, Floats]:
        """Ages in s and currents in mA, shape (n,) each."""
        return np.array(self._age_s), np.array(self._current_ma)

    def settled(self) -> Settled | None:
        """The value so far; None before the first reading."""
        if not self._age_s:
            return None
        found = settled_value(
            *self.readings,
            at_age_s=self._at_age_s,
            window_s=self._window_s,
            resolution=self._resolution_ma,
        )
        warmth = self._warmth.uncertainty * found.value
        return replace(found, uncertainty=hypot(found.uncertainty, warmth))


class UntilDecided:
    """Until a point's verdict is known: the one place that says when that is.

    A look decides where all of this holds, the cheap questions first: the sequential test knows
    on which side of each limit the value lies; the value is precise enough to be stated, for which
    it waits until twice the age asked for; the test still knows with hunting allowed for and with
    the exponential tail agreeing; and `is_final` of that value, which is the decision rule's say:
    it passes, it fails, or more readings could not help.
    """

    def __init__(
        self,
        asked: Question,
        warmth: ResidualWarmth,
        is_final: Callable[[Settled], bool],
        precision_ma: float | None = None,
    ) -> None:
        """`precision_ma`: the standard uncertainty to be stated with; see `precise_enough_ma`."""
        prior = vague_prior().with_coefficient(Coefficient.LEVEL, 1.0, _LEVEL_SD)
        self._test = ActivationTest(asked, _BOUNDS, residual_warmth=warmth, prior=prior)
        self._precision_ma = precise_enough_ma(asked) if precision_ma is None else precision_ma
        self._patient_until_s = 2 * asked.at_age_s
        self._is_final = is_final
        self._plain = UntilSettled(asked.at_age_s, asked.window_s, asked.resolution, warmth)
        self._next_look_s = 0.0
        self._remainder = inf
        self._decided = False

    def read(self, age_s: float, current_ma: float) -> bool:
        """Take a reading; True when the verdict is known."""
        self._plain.note(age_s, current_ma)
        if age_s >= self._next_look_s:
            self._decided = self._look(age_s, *self._plain.readings)
        return self._decided

    def _look(self, age_s: float, ages_s: Floats, currents_ma: Floats) -> bool:
        estimate = self._test.estimate(ages_s, currents_ma)
        if estimate is None:
            return False
        self._remainder = estimate.remainder
        self._next_look_s = age_s + max(_LOOK_AGAIN_S, estimate.wait_s(_BOUNDS))
        if estimate.outcome(_BOUNDS) == "undecided" or self._too_vague(age_s):
            return False
        if self._test.outcome(ages_s, currents_ma) == "undecided":
            return False
        value = self._test.value
        return value is not None and self._is_final(_stated(value))

    def _too_vague(self, age_s: float) -> bool:
        """Whether it pays to wait for a smaller uncertainty."""
        value = self._test.value
        vague = value is not None and value.sd > self._precision_ma
        return vague and age_s < self._patient_until_s

    def settled(self) -> Settled | None:
        """The estimate; where the output is next to nothing, the plain settled value."""
        value = self._test.value
        if value is None:
            return self._plain.settled()
        good = self._decided or self._remainder <= _SETTLED
        return _stated(value, "" if good else "the output is still rising or falling")


def precise_enough_ma(asked: Question) -> float:
    """The standard uncertainty with which a decided value is good to state."""
    return min(_PRECISION * asked.tolerance, _RELATIVE_PRECISION * asked.target)


def _stated(value: Mixture, reason: str = "") -> Settled:
    return Settled(value.mean, value.sd, value.dof, 0.0, reason == "", reason)


def question(point: Point, timing: Timing, meter: MeterData) -> Question:
    """What is asked of the current, in mA."""
    low, target, high = (
        _current_ma(value, point)
        for value in (point.target.lower, point.target.value, point.target.upper)
    )
    narrower = min(target - low, high - target)
    return Question(
        target=target,
        tolerance=narrower if narrower > 0 else _ONE_SIDED * target,
        window_s=meter.window_s,
        resolution=meter.resolution_ma,
        at_age_s=timing.age_s,
        limits=(low, high),
    )


def aim_of(asked: Question) -> TargetBand:
    """What a person is shown of a question."""
    low_ma, high_ma = asked.limits or (
        asked.target - asked.tolerance,
        asked.target + asked.tolerance,
    )
    return TargetBand(low_ma, asked.target, high_ma)


def asked_current_ma(point: Point) -> float:
    """The current that `point` asks for, in mA."""
    return _current_ma(point.target.value, point)


def _current_ma(value: float, point: Point) -> float:
    """A value of the target's quantity as a current."""
    if point.target.quantity == "current_ma":
        return value
    return 1000 * sqrt(max(value, 0.0) / point.load_ohm)
