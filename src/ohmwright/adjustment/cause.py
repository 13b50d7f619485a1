"""Why a point could not be confirmed, in plain words, and what would help."""

from __future__ import annotations

from collections.abc import Iterator

from .evidence import Evidence

_DIGIT_TOLERANCES = 0.35
"""Digit of the meter above which it is named, unless the warmth left over is worth more than it:
it may be what prevents a decision."""
_UNSURE_TOLERANCES = 0.25
"""Standard uncertainty above which a value is not decided wherever it lies in tolerance."""
_HUNTS, _SWING_TOLERANCES = 0.5, 0.25
"""Probability of hunting, and its standard deviation, above which it is named."""
_SETTLES_LATE = 1.3
"""Time to come to rest, over the age asked for, above which it is named."""
_WARMTH_TOLERANCES = 0.25
"""Droop left over from the activation before, above which the rest is named."""
_PLAY_TOLERANCES = 0.5
"""Lost motion above which it is named."""


def why_undecided(seen: Evidence) -> str:
    """What most likely prevented a confirmation, and what would help."""
    cause = next(_causes(seen))
    return f"not confirmed within {seen.rf_on_s:.0f} s of RF: {cause}"


def _causes(seen: Evidence) -> Iterator[str]:
    """All that apply, the most certain first; the last one always does."""
    if seen.time_outs > 1:
        yield (
            f"the service mode ended by itself {seen.time_outs} times, once after "
            f"{seen.times_out_s:.0f} s; a longer time-out or a quicker meter would help"
        )
    if seen.digit > seen.tolerance * max(_DIGIT_TOLERANCES, seen.left_over_tolerances):
        yield (
            f"the meter's digit of {seen.digit:g} is coarse for a tolerance of "
            f"{seen.tolerance:.3g}; one of {0.2 * seen.tolerance:.2g} would help"
        )
    if seen.play_tolerances > _PLAY_TOLERANCES:
        yield (
            f"after reversals the output fell short by about {seen.play_counts:.0f} counts, more "
            "than the tolerance allows, as with a trim that has play (backlash)"
            f"{_or_by_presses(seen)}; see whether it has"
        )
    if seen.left_over_tolerances > _WARMTH_TOLERANCES:
        yield (
            f"with rests of up to {seen.rest_s:.0f} s the unit is still warm, which is worth "
            f"{seen.left_over_tolerances:.1f} tolerances; a longer rest would help"
        )
    value, uncertainty = seen.value_tolerances, seen.uncertainty_tolerances
    unsure = uncertainty is not None and uncertainty > _UNSURE_TOLERANCES
    if unsure and seen.settles_s > _SETTLES_LATE * seen.at_age_s:
        yield (
            f"the output comes to rest after about {seen.settles_s:.0f} s, later than the age of "
            f"{seen.at_age_s:g} s asked for, so that what it loses by then as it warms is not "
            "seen; a later age_s in the procedure would help"
        )
    if seen.bends > 1:
        yield (
            f"the output stood, and sank after the age of {seen.at_age_s:g} s asked for, as where "
            "a unit reduces it when it is warm; a longer rest, or less on-time before, would help"
        )
    if seen.surprises > 1:
        yield _not_as_predicted(seen, f"{seen.surprises} times")
    if seen.hunting > _HUNTS and seen.swing_tolerances > _SWING_TOLERANCES:
        yield (
            "the output hunts, by too much for its tolerance; see whether the mains and the meter "
            "are steady, then have the unit repaired, or use a meter that averages for longer"
        )
    if seen.surprises:
        yield _not_as_predicted(seen, "once")
    if value is None:
        yield "the output was never brought near enough to the target to be confirmed"
        return
    if unsure:
        yield (
            f"the readings scatter by {seen.noise_tolerances:.1f} tolerances and tell the output "
            f"to {uncertainty:.1f} only; a meter with less noise or a longer time-out would help"
        )
    off = f"the output was last seen {abs(value):.2f} tolerances off the target"
    if abs(value) > 1:
        yield f"{off}: moves of the trim did not bring it nearer; see whether the trim is sound"
        return
    yield f"{off}, too near to the limit to be sure; a trim with smaller counts would help"


def _not_as_predicted(seen: Evidence, how_often: str) -> str:
    return (
        f"the output does not behave as the model: {how_often} it was not where the readings "
        f"before had predicted{_or_by_presses(seen)}; see whether the unit is stable and its trim "
        "sound"
    )


def _or_by_presses(seen: Evidence) -> str:
    return ", or where keys were pressed otherwise than asked for" if seen.by_keys else ""
