"""What a point asks for, as a question of the current."""

from __future__ import annotations

from math import sqrt

from ohmwright.estimation.activation_record import Question
from ohmwright.model.bench_status import TargetBand
from ohmwright.model.hardware import MeterData
from ohmwright.model.step import Point, Timing

_ONE_SIDED = 0.05
"""Tolerance over target, for a target that is a limit itself."""


def question(point: Point, timing: Timing, meter: MeterData) -> Question:
    """Return target, limits and age of `point` as a question of the current, in mA."""
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


def target_band(asked: Question) -> TargetBand:
    """Return the limits of a question in mA, as they are shown to a person."""
    low_ma, high_ma = asked.limits or (
        asked.target - asked.tolerance,
        asked.target + asked.tolerance,
    )
    return TargetBand(low_ma, asked.target, high_ma)


def asked_current_ma(point: Point) -> float:
    """Return the current that `point` asks for, in mA."""
    return _current_ma(point.target.value, point)


def _current_ma(value: float, point: Point) -> float:
    """Return a value of the target's quantity, mA or W, as a current in mA."""
    if point.target.quantity == "current_ma":
        return value
    return 1000 * sqrt(max(value, 0.0) / point.load_ohm)
