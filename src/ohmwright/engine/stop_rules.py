"""Who looks at the readings: until a value has settled, or until its target is decided."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import hypot, sqrt

import numpy as np

from ohmwright.estimation.activation_test import VerificationTest
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import Question
from ohmwright.estimation.settled_value import Settled, settled_value
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.bench_status import TargetBand
from ohmwright.model.hardware import MeterData
from ohmwright.model.step import Point, Timing

_LOOK_EVERY_S = 0.5
_PRECISION, _RELATIVE_PRECISION = 0.125, 0.01
"""Standard uncertainty at which a decided value is good to state: parts of tolerance, of target."""
_ONE_SIDED = 0.05
"""What counts as the tolerance of a target that is a limit itself, relative."""


class UntilSettled:
    """Any value will do as soon as it has settled, no earlier than the age asked for.

    What the warmth `left` from before makes unsure of it is part of its uncertainty.
    """

    def __init__(self, timing: Timing, meter: MeterData, left: ResidualWarmth) -> None:
        self._timing, self._meter, self._left = timing, meter, left
        self._age_s: list[float] = []
        self._current_ma: list[float] = []
        self._look_at_s = timing.age_s

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

    def settled(self) -> Settled | None:
        """The value so far."""
        if not self._age_s:
            return None
        found = settled_value(
            np.array(self._age_s),
            np.array(self._current_ma),
            at_age_s=self._timing.age_s,
            window_s=self._meter.window_s,
            resolution=self._meter.resolution_ma,
        )
        warmth = self._left.uncertainty * found.value
        return replace(found, uncertainty=hypot(found.uncertainty, warmth))


class UntilDecided:
    """Until the point's limits are decided; `agreed` must think so too."""

    def __init__(
        self,
        point: Point,
        timing: Timing,
        meter: MeterData,
        left: ResidualWarmth,
        agreed: Callable[[Settled], bool],
    ) -> None:
        asked = question(point, timing, meter)
        precision = min(_PRECISION * asked.tolerance, _RELATIVE_PRECISION * asked.target)
        self._watch = VerificationTest(asked, left=left, precision=precision)
        self._agreed = agreed
        self._fallback = UntilSettled(timing, meter, left)
        self._decided = False

    def read(self, age_s: float, current_ma: float) -> bool:
        """Decide as soon as that is safe."""
        self._fallback.note(age_s, current_ma)
        decided = self._watch.read(age_s, current_ma) != "undecided"
        value = self._watch.value if decided else None
        self._decided = value is not None and self._agreed(_stated(value))
        return self._decided

    def settled(self) -> Settled | None:
        """The estimate; where the output is next to nothing, the plain settled value."""
        value = self._watch.value
        if value is None:
            return self._fallback.settled()
        good = self._decided or self._watch.settled
        return _stated(value, "" if good else "the output is still rising or falling")


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
