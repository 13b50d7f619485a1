"""What a point asks for, as a question of the current."""

from __future__ import annotations

from math import sqrt

from ohmwright.estimation.activation_record import Question
from ohmwright.model.bench_status import TargetBand
from ohmwright.model.hardware import MeterData
from ohmwright.model.quantity import Quantity
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Target

from .meter_window import stated_window_s

_ONE_SIDED = 0.05
"""Tolerance over target, for a target that is a limit itself."""


def question(point: Point, timing: Timing, meter: MeterData) -> Question:
    """Return target, limits and age of `point` as a question of the current, in mA."""
    return current_question(
        point.target,
        point.load_ohm,
        at_age_s=timing.age_s,
        window_s=stated_window_s(meter),
        resolution_ma=meter.resolution_ma,
    )


def current_question(
    target: Target, load_ohm: float, *, at_age_s: float, window_s: float, resolution_ma: float
) -> Question:
    """Return a target and its limits, into a load, as a question of the current, in mA."""
    low, middle, high = (
        current_of(value, target.quantity, load_ohm)
        for value in (target.lower, target.value, target.upper)
    )
    narrower = min(middle - low, high - middle)
    return Question(
        target=middle,
        tolerance=narrower if narrower > 0 else _ONE_SIDED * middle,
        window_s=window_s,
        resolution=resolution_ma,
        at_age_s=at_age_s,
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
    return current_of(point.target.value, point.target.quantity, point.load_ohm)


def current_of(value: float, quantity: Quantity, load_ohm: float) -> float:
    """Return a value of a quantity, mA or W into a load, as a current in mA."""
    if quantity == "current_ma":
        return value
    return 1000 * sqrt(max(value, 0.0) / load_ohm)
