"""Whether the limit that an analyzer says is running is the one that ON carried."""

from __future__ import annotations

from math import isfinite

from ohmwright.model.errors import ProtocolError, ReleaseNotConfirmed

from .analyzer import Analyzer

_LIMIT_SLACK_S = 2.0
"""So much of the limit may have passed when it is read back: a slow reply, asked again."""


def limit_runs(left_s: float, limit_s: float) -> bool:
    """Return whether `left_s` can be left of `limit_s`, just begun."""
    rounding_s = 1e-5 * limit_s
    return limit_s - _LIMIT_SLACK_S <= left_s <= limit_s + rounding_s


async def refuse_another_limit(
    analyzer: Analyzer, left_s: float, limit_s: float, suspect: str
) -> None:
    """Raise where `left_s` is read back after ON with `limit_s`, and another limit runs, or none.

    `suspect`: what is to be checked then. Raises ReleaseNotConfirmed where no activation runs.
    """
    # whole seconds, rounded down, are 0 in the last of them
    if left_s == 0 and not await analyzer.output_on():
        raise ReleaseNotConfirmed(
            "RF MAY BE ON ELSEWHERE: ON was taken without complaint, yet no activation runs.",
            "Another instrument on the line may have taken it.",
            "Switch off at its mains switch every generator connected to this bench, then "
            "check the cabling.",
        )
    if not isfinite(left_s):
        raise ProtocolError(
            f"The analyzer gives no number for the time left of the limit of {limit_s:g} s.",
            "Nobody knows whether that limit runs. RF is switched off again.",
            f"Check {suspect} ('remaining'), and the analyzer.",
        )
    if not limit_runs(left_s, limit_s):
        raise ProtocolError(
            f"The analyzer would hold RF on for {left_s:g} s, not for {limit_s:g} s.",
            "RF is switched off again.",
            f"Check {suspect}, and the cabling.",
        )
