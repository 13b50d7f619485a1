"""A load that the analyzer does not connect in the middle of a run, though it did at the start."""

from __future__ import annotations

from ohmwright.instruments.doubt_requests import AGAIN, MendLoad
from ohmwright.model.errors import LoadNotConnected

from .session import Session
from .unasked_rf import ensure_off_after


async def reason_to_go_without(session: Session, lost: LoadNotConnected, place: str) -> str | None:
    """Return why what needs the load is not measured; None where it is to be tried again.

    A person says which of the two; where nobody is there it is not measured. `place`: step and
    point in words. Raises `lost`, or what is worse, where RF does not read off, and what a person
    may say to every request.
    """
    bench = session.bench
    ended_by = await ensure_off_after(lost, bench, session.pending, session.on_status)
    if ended_by is not lost or bench.rf.state != "off":
        raise ended_by
    reason = lost.happened.rstrip(".")
    if not bench.operator.present:
        return reason
    asked = MendLoad(place, lost.load_ohm, lost.said)
    if await bench.operator.carry_out(asked) == AGAIN:
        return None
    return f"{reason}; gone on without it, as told by {bench.operator.name}"
