"""Leaves service mode without saving, which undoes moves, or says what a person must do."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager, suppress
from functools import partial

import anyio

from ohmwright.instruments.operator import NOT_ANSWERS, GoBack, SkipStep
from ohmwright.instruments.requests import INTO_SERVICE, LEFT_BEFORE_GOING_ON, OUT_OF_SERVICE
from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed
from ohmwright.model.event import Asked, Event, ServiceLeft, StepStarted

from .session import Session
from .uncancellable import uncancellable

_BOUND_S = 5.0
"""Longest time, by the machine's clock, that the generator gets to leave service mode."""


@asynccontextmanager
async def service_left_on_exit(session: Session) -> AsyncIterator[None]:
    """Undo moves that were not stored, whatever ends the block early; RF is off by then.

    A unit with a port is sent out of service mode, which undoes them; else the session's
    `pending.left_open` says what a person must undo. Where RF may be on, nothing is sent, and it
    says what was moved: the generator must be switched off at its mains switch, which undoes that.
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
            await session.bench.generator.leave_unsaved()
        except OhmwrightError:
            return
        session.left_service()
        pending.left_open = service.undone_text
        pending.add(ServiceLeft(**session.stamp(), point=service.point))


async def left_unsaved(session: Session) -> AsyncIterator[Event]:
    """Leave service mode without saving where a trim was moved; yield the event of it.

    That undoes what was moved and not stored.
    """
    session.show_cue(None)
    service = session.service
    if service is not None and service.has_unstored_moves:
        yield await left_whatever_was_moved(session, service.point)


async def left_whatever_was_moved(session: Session, point: str) -> ServiceLeft:
    """Leave service mode without saving, whether or not a move is known of; return its event.

    A person cannot skip it: they are asked until it is done.
    """
    while True:
        with suppress(SkipStep, GoBack):
            await session.bench.generator.leave_unsaved()
            session.left_service()
            return ServiceLeft(**session.stamp(), point=point, told_by=session.told_by)


async def leave_before_going_on(session: Session, earlier: Iterable[Event]) -> None:
    """Have a person take the unit out of service mode where the part before may have left it there.

    A run that goes on counts trims from what the unit has stored, and measures as left in normal
    use. A person cannot skip it: they are asked until it is done.
    """
    if session.bench.generator.unattended or not may_be_in_service(earlier):
        return
    while True:
        try:
            await session.bench.operator.carry_out(LEFT_BEFORE_GOING_ON)
        except (SkipStep, GoBack):
            continue
        return


def may_be_in_service(events: Iterable[Event]) -> bool:
    """Return whether a unit worked by hand may be in service mode after `events`.

    A step that adjusts counts from its beginning: what a person answered is on record only later.
    """
    inside = False
    for event in events:
        match event:
            case StepStarted(stage="adjust"):
                inside = True
            case Asked(question=question, answer=answer) if answer not in NOT_ANSWERS:
                came_in = question.startswith(INTO_SERVICE)
                inside = (inside or came_in) and question not in OUT_OF_SERVICE
            case _:
                pass
    return inside
