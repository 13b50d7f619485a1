"""Service mode when a run ends early: left without saving by port, or told to the person."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

import anyio

from ohmwright.model.errors import OhmwrightError, ReleaseNotConfirmed
from ohmwright.model.event import ServiceLeft

from .session import Session
from .uncancellable import uncancellable

_BOUND_S = 5.0
"""Longest time of the machine that a generator gets to leave."""


@asynccontextmanager
async def service_left_on_exit(session: Session) -> AsyncIterator[None]:
    """Whatever ends the block early, see to what was moved and not stored; RF is off by then.

    A unit with a port is told to leave service mode, which undoes it. The session's notes say
    so, or what the person must undo. Where RF may be on, nothing is sent: the generator must be
    switched off at its mains switch, which undoes it too.
    """
    try:
        yield
    except ReleaseNotConfirmed:
        raise
    except BaseException:
        await uncancellable(partial(_leave, session))
        raise


async def _leave(session: Session) -> None:
    service, notes = session.service, session.notes
    if service is None:
        return
    notes.left_open = service.to_undo
    if service.by_hand:
        return
    with anyio.move_on_after(_BOUND_S, shield=True):
        try:
            await session.bench.generator.leave_unsaved()
        except OhmwrightError:
            return
        session.service, notes.left_open = None, service.undone
        notes.add(ServiceLeft(**session.stamp(), point=service.point))
