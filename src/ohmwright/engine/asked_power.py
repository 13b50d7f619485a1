"""What power a point's limits ask for, compared with what the generator's data say it can give.

Nothing is refused: data may be incomplete, and a unit may give more than they say.
"""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.model.hardware import GeneratorData, Mode
from ohmwright.model.step import Point

from .decidability import Shortfall
from .requirements import expected_ma, full_power_w
from .steps.base import TimedStep

_FAR = 2.0
"""Ratio of expected to stated power above which a slip is assumed; common practice, no source."""


def limits_w(point: Point) -> tuple[float, float]:
    """Return the limits of a point in W; those of a current by P = I² R."""
    lower, upper = point.target.lower, point.target.upper
    if point.target.quantity == "power_w":
        return lower, upper
    return (lower / 1000) ** 2 * point.load_ohm, (upper / 1000) ** 2 * point.load_ohm


def adjusted_power_shortfall(
    step: TimedStep, point: Point, generator: GeneratorData
) -> Iterator[Shortfall]:
    """Yield that a point to adjust asks for more than service mode can give."""
    service = step.service_point(generator)
    if service is not None:
        most_w = full_power_w(generator, service.name)
        yield from _too_much(point, most_w, f"the generator's largest power is {most_w:g} W")


def set_power_shortfall(point: Point, mode: Mode | None, setting_w: float) -> Iterator[Shortfall]:
    """Yield that a point asks for more than its setting, or for far less without a known limit."""
    yield from _too_much(point, setting_w, f"the setting is {setting_w:g} W")
    if mode is None or point.load_ohm > mode.rated_load_ohm:
        return  # the voltage limit, which no data state, may be what holds it down
    if mode.max_current_ma is None and point.load_ohm < mode.rated_load_ohm:
        return  # and here the current limit
    expected_w = (expected_ma(mode, setting_w, point.load_ohm) / 1000) ** 2 * point.load_ohm
    _, upper_w = limits_w(point)
    if upper_w * _FAR < expected_w:
        yield Shortfall(
            "power",
            point.target.quantity,
            f"at most {upper_w:.4g} W pass, and at a setting of {setting_w:g} W about "
            f"{expected_w:.4g} W are to be expected; a digit or the setting may be wrong",
            expected_w / upper_w,
        )


def _too_much(point: Point, most_w: float, why: str) -> Iterator[Shortfall]:
    lower_w, _ = limits_w(point)
    if lower_w > most_w:
        yield Shortfall(
            "power",
            point.target.quantity,
            f"at least {lower_w:.4g} W into {point.load_ohm:g} ohm are asked for, and {why}; "
            "a digit, the load or the setting may be wrong",
            lower_w / most_w,
        )
