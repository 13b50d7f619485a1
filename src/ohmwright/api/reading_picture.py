"""The current as a face shows it: its digits, how old it is, and where in its limits it lies."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean
from typing import Literal

from pydantic import computed_field

from ohmwright.model.base import FrozenModel
from ohmwright.model.bench_status import BenchStatus, TargetBand
from ohmwright.model.tolerance import Target
from ohmwright.reports.text import LimitFigures, limit_figures

from .rf_words import CURRENT_VALID_S, short_time

Movement = Literal["not known", "rising", "falling", "settled"]
_SEEN_OVER_S = 2.0
"""Readings of so long, and two at least, say how the reading moves."""
_SETTLED_PER_S = 0.25
"""Settled is what moves by less than this part of the width between the limits in a second; a
reading that comes to rest as by a lag of 2 s is then within half that width of its end."""


def current_ma_now(moment: BenchStatus | None, now_s: float) -> float | None:
    """Return the reading of a moment ago; None where the last is too old, or RF is off.

    One that was typed holds until the next, beside its age: a person reads every few seconds.
    """
    if moment is None or moment.rf != "on":
        return None
    is_old = now_s - moment.bench_s > CURRENT_VALID_S
    return None if is_old and not moment.read_by_eye else moment.current_ma


def reading_digits(current_ma: float | None, digit_ma: float | None) -> str:
    """Return a current in mA with no more digits than the meter has, and than a glance takes."""
    if current_ma is None:
        return ""
    decimals = 1 if digit_ma is None else len(f"{digit_ma:.6f}".rstrip("0").partition(".")[2])
    return f"{current_ma:.{min(decimals, 1 if current_ma < 1000 else 0)}f}"


def reading_note(
    moment: BenchStatus | None, current_ma: float | None, now_s: float, *, somebody_is_asked: bool
) -> str:
    """Return when a reading was typed, or that one will be; empty where an instrument reads."""
    if moment is None or not moment.read_by_eye:
        return ""
    if current_ma is not None:
        return f"typed {short_time(max(0.0, now_s - moment.bench_s))} ago"
    if moment.rf != "on" or somebody_is_asked:
        return ""
    hold = "hold: " if moment.keyed_by_foot else ""
    return f"{hold}reading asked for soon"


class BandPicture(FrozenModel):
    """A target with its limits in mA, and where in them the present reading lies."""

    lower_ma: float
    """0 where there is an upper limit alone."""
    target_ma: float
    upper_ma: float
    position: float | None = None
    """-1 at the lower limit, 0 on target, 1 at the upper limit; where there is an upper limit
    alone, 0 without current and 1 at the limit. None without a present reading."""

    movement: Movement = "settled"
    """Until it has settled, a reading says nothing yet of the output and its limits."""

    @computed_field  # type: ignore[prop-decorator]  # mypy 14461
    @property
    def figures(self) -> LimitFigures:
        """Limits and target as they are shown."""
        low, value, high = self.lower_ma, self.target_ma, self.upper_ma
        return limit_figures(Target(quantity="current_ma", value=value, lower=low, upper=high))

    @property
    def one_sided(self) -> bool:
        """Whether only the upper limit counts, which then is the target as well."""
        return self.target_ma >= self.upper_ma

    @property
    def inside(self) -> bool | None:
        """Whether the present reading lies within the limits; None without one."""
        return None if self.position is None else abs(self.position) <= 1


def movement_in(band: TargetBand, readings: Sequence[tuple[float, float]]) -> Movement:
    """Return how the reading moves by those of the activation, seconds and mA, newest first."""
    far = (n for n, (at_s, _) in enumerate(readings) if readings[0][0] - at_s >= _SEEN_OVER_S)
    if (last := next(far, None)) is None:
        return "not known"
    half = (last + 1) // 2
    (new_s, new_ma), (old_s, old_ma) = map(_middle, (readings[:half], readings[half : last + 1]))
    settled_ma = _SETTLED_PER_S * (band.upper_ma - max(0.0, band.lower_ma)) * (new_s - old_s)
    if abs(new_ma - old_ma) <= settled_ma:
        return "settled"
    return "rising" if new_ma > old_ma else "falling"


def _middle(readings: Sequence[tuple[float, float]]) -> tuple[float, float]:
    at_s, current_ma = zip(*readings, strict=True)
    return fmean(at_s), fmean(current_ma)


def band_picture(
    band: TargetBand, current_ma: float | None, movement: Movement = "settled"
) -> BandPicture:
    """Return `band` with the place of a reading in it."""
    lower_ma, target_ma, upper_ma = max(0.0, band.lower_ma), band.target_ma, band.upper_ma
    position = None
    if current_ma is not None:
        zero_ma = lower_ma if target_ma >= upper_ma else target_ma
        width_ma = upper_ma - zero_ma if current_ma > zero_ma else zero_ma - lower_ma
        position = (current_ma - zero_ma) / width_ma if width_ma > 0 else 0.0
    return BandPicture(
        lower_ma=lower_ma,
        target_ma=target_ma,
        upper_ma=upper_ma,
        position=position,
        movement=movement,
    )
