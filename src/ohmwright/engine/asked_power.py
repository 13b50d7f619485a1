"""What power a point's limits ask for, compared with what the generator's data say it can give.

What is told is a warning, and nothing is refused: data may be incomplete, and a unit may give more
than they say.
"""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.model.hardware import GeneratorData, Mode
from ohmwright.model.step import Point

from .decidability import Shortfall
from .requirements import expected_ma, full_power_w
from .steps.base import TimedStep

_FAR = 2.0
"""Ratio of expected power to a limit above which a slip is assumed; common practice, no source."""


def limits_w(point: Point) -> tuple[float, float]:
    """Return the limits of a point in W; those of a current by P = I² R."""
    lower, upper = point.target.lower, point.target.upper
    if point.target.quantity == "power_w":
        return lower, upper
    return (lower / 1000) ** 2 * point.load_ohm, (upper / 1000) ** 2 * point.load_ohm


def adjusted_power_shortfall(
    step: TimedStep, point: Point, generator: GeneratorData
) -> Iterator[Shortfall]:
    """Yield that a point to adjust asks for far more than service mode can give, or far less."""
    service = step.service_point(generator)
    if service is not None:
        most_w = full_power_w(generator, service.name)
        why = f"the generator's largest power is {most_w:g} W"
        yield from _contradiction(point, generator.mode(service.mode), most_w, why)


def set_power_shortfall(point: Point, mode: Mode | None, setting_w: float) -> Iterator[Shortfall]:
    """Yield that a point asks for more than its setting can give, or for far less than it will."""
    yield from _contradiction(point, mode, setting_w, f"the setting is {setting_w:g} W")


def _contradiction(point: Point, mode: Mode | None, most_w: float, why: str) -> Iterator[Shortfall]:
    """Yield that a point's limits cannot be met with `most_w`; `why`: what gives that, in words."""
    lower_w, upper_w = limits_w(point)
    expected_w = _expected_w(point, mode, most_w)
    if lower_w > most_w:
        yield _too_high(point, most_w, why)
    elif expected_w is not None and lower_w > _FAR * expected_w:
        yield _too_high(point, expected_w, f"its current limit gives about {expected_w:.4g} W")
    elif expected_w is not None and upper_w * _FAR < expected_w:
        yield Shortfall(
            "power",
            point.target.quantity,
            f"at most {upper_w:.4g} W pass, and at a setting of {most_w:g} W about "
            f"{expected_w:.4g} W are to be expected; a digit or the setting may be wrong",
            expected_w / upper_w,
        )


def _expected_w(point: Point, mode: Mode | None, setting_w: float) -> float | None:
    """Return the power that a setting should drive; None where the data do not say it.

    Above the rated load the voltage limit holds the output down, which no data state; below it the
    current limit, where they state that.
    """
    if mode is None or point.load_ohm > mode.rated_load_ohm:
        return None
    if point.load_ohm < mode.rated_load_ohm and mode.max_current_ma is None:
        return None
    return (expected_ma(mode, setting_w, point.load_ohm) / 1000) ** 2 * point.load_ohm


def _too_high(point: Point, most_w: float, why: str) -> Shortfall:
    lower_w, _ = limits_w(point)
    return Shortfall(
        "power",
        point.target.quantity,
        f"at least {lower_w:.4g} W into {point.load_ohm:g} ohm are asked for, and {why}; "
        "a digit, the load or the setting may be wrong",
        lower_w / most_w,
    )
