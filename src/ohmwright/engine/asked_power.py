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
"""Ratio of expected power to upper limit above which a slip is assumed; common practice, no source.
"""


def limits_w(point: Point) -> tuple[float, float]:
    """Return the limits of a point in W; those of a current by P = I² R."""
    lower, upper = point.target.lower, point.target.upper
    if point.target.quantity == "power_w":
        return lower, upper
    return (lower / 1000) ** 2 * point.load_ohm, (upper / 1000) ** 2 * point.load_ohm


def adjusted_power_shortfall(
    step: TimedStep, point: Point, generator: GeneratorData
) -> Iterator[Shortfall]:
    """Yield that a point to adjust asks for more than service mode can give, or for far less."""
    service = step.service_point(generator)
    if service is not None:
        most_w = full_power_w(generator, service.name)
        yield from _asks_too_much(point, most_w, f"the generator's largest power is {most_w:g} W")
        yield from _asks_less_than_expected(point, generator.mode(service.mode), most_w)


def set_power_shortfall(point: Point, mode: Mode | None, setting_w: float) -> Iterator[Shortfall]:
    """Yield that a point asks for more than its setting can give, or for far less than it will."""
    yield from _asks_too_much(point, setting_w, f"the setting is {setting_w:g} W")
    yield from _asks_less_than_expected(point, mode, setting_w)


def _expected_is_known(mode: Mode, load_ohm: float) -> bool:
    """Return whether the data say what a setting drives into a load.

    Above the rated load the voltage limit holds the output down, which no data state; below it the
    current limit, where they state that.
    """
    if load_ohm < mode.rated_load_ohm:
        return mode.max_current_ma is not None
    return load_ohm == mode.rated_load_ohm


def _asks_less_than_expected(
    point: Point, mode: Mode | None, setting_w: float
) -> Iterator[Shortfall]:
    """Yield that even the upper limit is far below the power that the setting should drive."""
    if mode is None or not _expected_is_known(mode, point.load_ohm):
        return
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


def _asks_too_much(point: Point, most_w: float, why: str) -> Iterator[Shortfall]:
    """Yield that even the lower limit is above `most_w`; `why`: what gives that, in words."""
    lower_w, _ = limits_w(point)
    if lower_w > most_w:
        yield Shortfall(
            "power",
            point.target.quantity,
            f"at least {lower_w:.4g} W into {point.load_ohm:g} ohm are asked for, and {why}; "
            "a digit, the load or the setting may be wrong",
            lower_w / most_w,
        )
