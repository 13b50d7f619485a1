"""Leaves service mode without saving, which undoes moves, or says what a person must do.

At the end of a run, between its steps, and before one goes on that was cut short.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager
from functools import partial

import anyio

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.requests import LEFT_BEFORE_GOING_ON
from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed
from ohmwright.model.event import Event, ServiceLeft

from .service_on_record import may_be_in_service
from .session import Session
from .uncancellable import uncancellable

_BOUND_S = 5.0
"""Longest time, by the machine's clock, that a generator with a port gets to leave service mode.

Some exchanges by a slow line; no source.
"""

_LEFT_BY_PART_BEFORE = (
    "The run's unit may still be in service mode, as the part before left it. Leave it without "
    "saving; that undoes whatever was pressed there and not saved."
)


@asynccontextmanager
async def service_left_on_exit(session: Session) -> AsyncIterator[None]:
    """Undo moves that were not stored, whatever ends the block early; no activation is open then.

    A unit with a port is sent out of service mode, which undoes them; else the session's
    `pending.left_open` says what a person must undo. After a release that was not confirmed RF may
    be on: nothing is sent, and `left_open` says what was moved and that the mains switch undoes it.
    """
    try:
        yield
    except BaseException as error:
        if not isinstance(error, ReleaseNotConfirmed):
            await uncancellable(partial(_leave, session))
        elif session.service is not None:
            session.pending.left_open = session.service.switched_off_text
        raise


async def _leave(session: Session) -> None:
    service, pending = session.service, session.pending
    if service is None:
        return
    pending.left_open = service.instructions_to_undo
    if service.by_hand:
        return
    with anyio.move_on_after(_BOUND_S, shield=True):
        try:
            left = await leave_without_saving(session, service.point)
        except OhmwrightError:
            return
        pending.left_open = service.undone_text
        pending.add(left)


async def leave_if_moved(session: Session) -> AsyncIterator[Event]:
    """Leave service mode without saving where moves are not stored, to undo them; yield the event.

    No cue is shown any more.
    """
    session.show_cue(None)
    service = session.service
    if service is not None and service.has_unstored_moves:
        yield await leave_without_saving(session, service.point)


async def leave_without_saving(session: Session, point: str) -> ServiceLeft:
    """Leave service mode without saving, whether or not a move is known of; return its event."""
    await session.bench.generator.leave_unsaved()
    session.left_service()
    return ServiceLeft(**session.stamp(), point=point, told_by=session.told_by)


async def leave_before_going_on(session: Session, earlier: Iterable[Event]) -> None:
    """Have a person take the unit out of service mode where the part before may have left it there.

    A run that goes on counts trims from what the unit has stored, and measures as left in normal
    use.
    """
    if left_open_before(session.bench, earlier):
        await session.bench.operator.carry_out(LEFT_BEFORE_GOING_ON)
        session.pending.left_open = ""


def left_open_before(bench: Bench, earlier: Iterable[Event]) -> str:
    """Return what a person must undo, as the part before left it, until they say it is; or empty.

    A part that goes on and is stopped before that says so once more.
    """
    by_hand = not bench.generator.unattended
    return _LEFT_BY_PART_BEFORE if by_hand and may_be_in_service(earlier) else ""
