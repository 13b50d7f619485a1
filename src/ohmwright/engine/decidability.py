"""What a bench cannot decide of a point or a step, from data alone, with the figure that could.

A point counts as decided by a bench where an output in the inner half of what its rule accepts can
be seen to be there. So what no reading removes must be small: the meter's digit, and the droop
left over from the activation before, must each leave that half (`room`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import ceil, sqrt
from typing import Literal

from ohmwright.estimation.thermal_droop import Droop, Warmth
from ohmwright.instruments.rf_monitor import ABOVE_ZERO_DIGITS
from ohmwright.model.hardware import GeneratorData, MeterData
from ohmwright.model.step import Timing

from .meter_tail import tail_s
from .release import READ_OFF_WITHIN_S
from .resting import rested_warmth
from .room import Room, rounded_down, rounded_up

Severity = Literal["warning", "note"]
Cause = Literal[
    "decision rule", "digit", "rest", "recovery", "time limit", "count", "power", "tail"
]

_READINGS = 10
"""Readings after the meter's window has filled that suffice for scatter and lag; common practice,
no source."""
_TYPED_READINGS = 2
"""Readings that suffice where a person types them; tried on simulated units, whose true values lay
within U."""
_RELEASE_S = 0.5
"""Time for queries between the last reading and the limit."""
_USUAL_DROOP = Droop(0.015, (6.0, 10.0), (10.0, 20.0))
"""Droop of a unit whose data state none; common practice, no source."""
_LONGEST_REST_S = 600


@dataclass(frozen=True)
class Shortfall:
    """One thing by which a bench cannot decide a point."""

    cause: Cause
    key: str
    """The key of the procedure that asks for it."""
    what: str
    """What cannot be decided, why, and the figure that could be; a clause for a person."""
    times: float
    """What is needed over what there is, above 1."""
    severity: Severity = "warning"


def rule_and_digit_shortfalls(room: Room) -> Iterator[Shortfall]:
    """Yield that a point's rule passes nothing, or that the meter's digit is too coarse for it."""
    wanted = room.tolerance_for(lambda other: other.digit_decides)
    if room.room_ma <= 0:
        unit, expanded = room.point.target.unit, room.on_target.expanded or 0.0
        yield Shortfall(
            "decision rule",
            "tolerance",
            f"nothing passes, since the rule '{room.point.decision.rule}' leaves nothing of "
            f"{room.around(f'{room.width:.3g}')} {unit} beside the analyzer's own uncertainty "
            f"(U = {expanded:.2g} {unit}); {wanted} would do",
            expanded / room.width,
        )
    elif not room.digit_decides:
        sd_ma = room.digit_ma / sqrt(12)
        finest_ma = rounded_down(room.digit_ma * room.largest_sd_ma / sd_ma)
        yield Shortfall(
            "digit",
            "tolerance",
            f"by the last digit of {room.digit_ma:g} mA {room.seen_to_pass(sd_ma)}; "
            f"a digit of {finest_ma:g} mA or {wanted} would do",
            sd_ma / room.largest_sd_ma,
        )


def rest_shortfall(room: Room, generator: GeneratorData) -> Iterator[Shortfall]:
    """Yield that a point's rest is too short for the warmth of the activation before to go.

    A note where the generator's data state no droop: then what is left over is not counted.
    """
    if room.room_ma <= 0:
        return
    stated, rest_s = rested_warmth(generator), room.timing.rest_s
    sd_ma = _sd_of_warmth_ma(room, stated, rest_s)
    if sd_ma <= room.largest_sd_ma:
        return
    enough = _enough_rest(room, stated)
    times = sd_ma / room.largest_sd_ma
    if stated is None:
        yield Shortfall("recovery", "rest_s", _why_unstated(room, sd_ma, enough), times, "note")
    else:
        yield Shortfall("rest", "rest_s", _why_too_warm(room, sd_ma, enough), times)


def _enough_rest(room: Room, stated: Warmth | None) -> str:
    """Say which rest would do."""
    for rest_s in range(ceil(room.timing.rest_s), _LONGEST_REST_S):
        if _sd_of_warmth_ma(room, stated, rest_s) <= room.largest_sd_ma:
            return f"a rest of {rest_s} s"
    return "no rest"


def _sd_of_warmth_ma(room: Room, stated: Warmth | None, rest_s: float) -> float:
    """Return the standard uncertainty of a value by the warmth that a rest leaves over.

    The activation before went to its limit. Warmth that nothing is known of is not corrected for.
    """
    timing = room.timing
    warmth = (stated or Warmth(_USUAL_DROOP)).heated(timing.max_on_s).cooled(rest_s)
    if stated is None:
        warmth = replace(warmth, least=0.0, likely=0.0)
    return warmth.residual(timing.age_s).uncertainty * room.target_ma


def _why_too_warm(room: Room, sd_ma: float, enough: str) -> str:
    rest_s, on_s = room.timing.rest_s, room.timing.max_on_s
    return (
        f"by the warmth that a rest of {rest_s:g} s leaves of {on_s:g} s of RF "
        f"{room.seen_to_pass(sd_ma)}; {enough} would do"
    )


def _why_unstated(room: Room, sd_ma: float, enough: str) -> str:
    off_ma, passes = sqrt(3) * sd_ma, room.around(f"{room.room_ma:.3g}")
    return (
        "the generator's data state no [data.droop], and a rest of "
        f"{room.timing.rest_s:g} s is short: a usual unit is then up to {off_ma:.2g} mA low, of "
        f"the {passes} mA in which an output passes, and nothing counts that; "
        f"{enough} would do, or [data.droop]"
    )


def time_shortfall(
    timing: Timing, meter: MeterData, most_on_s: float, *, typed: bool = False
) -> Iterator[Shortfall]:
    """Yield that a step's activations are too short for its age and the meter.

    `most_on_s`: the longest activation that the bench allows; `typed`: whether a person types the
    readings.
    """
    after_s = needed_after_age_s(meter, typed=typed)
    needed_s = timing.age_s + after_s
    if timing.max_on_s >= needed_s - 1e-9:
        return
    would_do = f"{rounded_up(needed_s):g} s"
    if needed_s > most_on_s:
        within = f", since {most_on_s:g} s is the most that the bench allows,"
        age_s = most_on_s - after_s
        would_do = f"an age_s of {rounded_down(age_s):g} s" if age_s > 0 else "a quicker meter"
        would_do += within
    yield Shortfall(
        "time limit",
        "max_on_s",
        f"{timing.max_on_s:g} s of RF leave too few readings: beyond the age of {timing.age_s:g} s "
        f"a meter of {meter.readings_per_s:g} readings/s over {meter.window_s:g} s takes "
        f"{after_s:.3g} s; {would_do} would do",
        needed_s / timing.max_on_s,
    )


def needed_after_age_s(meter: MeterData, *, typed: bool = False) -> float:
    """Return how long an activation must last beyond the age of a value, for a meter to tell it."""
    readings = _TYPED_READINGS if typed else _READINGS
    return meter.window_s + readings / meter.readings_per_s + _RELEASE_S


def count_shortfall(room: Room, count_ma: float) -> Iterator[Shortfall]:
    """Yield that a count of the trim, which moves the current by up to `count_ma`, is too large."""
    if 0 < room.room_ma < count_ma:
        wanted = room.tolerance_for(lambda other: other.room_ma >= count_ma)
        yield Shortfall(
            "count",
            "tolerance",
            f"a count of the trim moves the current by up to {count_ma:g} mA, and it passes within "
            f"±{room.room_ma:.3g} mA: perhaps no count brings it there; {wanted} would do",
            count_ma / room.room_ma,
        )


def tail_shortfall(meter: MeterData, current_ma: float) -> Iterator[Shortfall]:
    """Yield that the meter, if it averages by a filter, reads off too late after `current_ma`.

    A note, since its data call it a mean, or do not say what its filter averages.
    """
    measured_ma = ABOVE_ZERO_DIGITS * meter.resolution_ma  # where it shows 0 with the output off
    none_ma = measured_ma if meter.zero_ma is None else max(measured_ma, meter.zero_ma)
    lasts_s = tail_s(meter, current_ma, none_ma)
    if lasts_s > READ_OFF_WITHIN_S:
        yield Shortfall(
            "tail",
            "name",
            f"if {_filters(meter)}, it shows more than {none_ma:g} mA for "
            f"{lasts_s:.1f} s after OFF has ended {current_ma:.0f} mA; a run in which RF does not "
            f"read off within {READ_OFF_WITHIN_S:g} s ends with an alarm. Where its manual states "
            "more, set zero_ma in its data; a mean has no such tail",
            lasts_s / READ_OFF_WITHIN_S,
            "note",
        )


def _filters(meter: MeterData) -> str:
    """Return what a meter would have to do to have such a tail, beside what its data say."""
    if meter.averages_by == "filter":
        return "the meter's filter averages squares, as true RMS may be formed"
    return "the meter averages by a filter"
