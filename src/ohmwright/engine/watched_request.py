"""Requests, while which are open RF is watched to stay off: a person may take an hour to answer."""

from __future__ import annotations

from contextlib import suppress
from functools import partial

import anyio

from ohmwright.instruments.operator import Reply
from ohmwright.model.errors import LinkError

from .session import Session
from .unasked_rf import unasked_output
from .watched_rest import UNASKED_AT_MOST, end_unasked_output
from .watched_work import done_while_watched

_ENDED = (
    "RF came on though nobody had asked for it, and was ended. Keep off the foot switch, and look "
    "what keyed it before you touch the output."
)
LOOK_EVERY_S = 1.0
"""Interval at which it is looked whether RF is off; real time, as that in which they answer."""


def watch_requests(session: Session) -> None:
    """Have RF watched while a request waits for a person, who may have their hands at a lead."""
    session.bench.operator.while_open = partial(_answered, session)


async def _answered(session: Session, reply: Reply) -> str:
    """Return the reply; where RF comes on meanwhile, end it, say so, and have it asked again.

    Raises ReleaseNotConfirmed where OFF does not end it.
    """
    if not _is_watched(session):
        return await reply()
    said: list[str] = []
    seen: list[str] = []

    async def ask() -> None:
        said.append(await reply())

    async def watch() -> None:
        seen.append(await _sign_of_rf(session))

    while len(seen) < UNASKED_AT_MOST:
        looked = len(seen)
        answered = await done_while_watched(ask, watch)
        if len(seen) > looked:  # in the moment of an answer, too
            await end_unasked_output(session, seen[-1])
            session.report_rf_state()
            await session.bench.operator.tell(_ENDED)
        if answered:
            return said[0]
    raise unasked_output(session.bench, f"{UNASKED_AT_MOST} times while one request was open")


def _is_watched(session: Session) -> bool:
    """Return whether RF is to stay off while this request is open, and an instrument can tell.

    A foot switch may be asked for by it, and RF that is on has a watch of its own.
    """
    analyzer = session.bench.analyzer
    by_person = session.bench.operator.answers_in_own_time
    told_by_line = not (analyzer.read_by_eye or analyzer.keyed_by_foot)
    return by_person and told_by_line and session.bench.rf.state == "off"


async def _sign_of_rf(session: Session) -> str:
    """Look until RF is on; return what shows it.

    A line that fails meanwhile is left to whatever needs it next: nothing was switched on by it,
    and how long ago RF was read stands on the screen.
    """
    rf = session.bench.rf
    while True:
        # a person is waited for, who lives in real time; a virtual clock would run ahead
        await anyio.sleep(LOOK_EVERY_S)  # noqa: TID251
        with suppress(LinkError), anyio.CancelScope(shield=True):
            if await rf.sees_rf() and (sign := await rf.evidence_on()) is not None:
                return sign
            session.report_rf_state()
