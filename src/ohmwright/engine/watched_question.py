"""Questions to a person, who has a hand at the leads or the unit: RF is watched to be off."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from contextlib import suppress
from functools import partial
from typing import NoReturn

import anyio

from ohmwright.model.errors import LinkError, OhmwrightError

from .release import tell_if_possible
from .session import Session
from .unasked_rf import unasked_output
from .watched_rest import (
    CHECK_EVERY_S,
    UNASKED_AT_MOST,
    end_seen_output,
    see_unasked_output,
)
from .watched_work import done_while_watched


def watch_questions(session: Session) -> None:
    """Have every question of the run watched, as far as an instrument shows whether RF is off."""
    session.bench.operator.wait_for = partial(_reply_while_watched, session)


async def _reply_while_watched(session: Session, reply: Callable[[], Awaitable[str]]) -> str:
    """Return the reply. RF that comes on meanwhile is ended by OFF, told, and on record.

    Raises ReleaseNotConfirmed where OFF does not end it, and UnaskedOutput where it comes on again
    and again.
    """
    analyzer, rf_was_asked_for = session.bench.analyzer, session.pending.on_at_s is not None
    if rf_was_asked_for or analyzer.keyed_by_foot or analyzer.read_by_eye:
        return await reply()
    said, told = "", list[str]()

    async def wait() -> None:
        nonlocal said
        said = await reply()

    try:
        await done_while_watched(wait, partial(_watch, session, told))
    finally:
        for words in told:
            session.bench.operator.take_back(words)
    return said


async def _watch(session: Session, told: list[str]) -> NoReturn:
    """Look whether RF is off until it is cancelled, but not amid a look."""
    bench, times_on = session.bench, 0
    while True:
        # a person is waited for, who lives in real time; a virtual clock would run ahead
        await anyio.sleep(CHECK_EVERY_S)  # noqa: TID251
        with anyio.CancelScope(shield=True):
            try:
                problem = await see_unasked_output(session)
                if problem is not None:
                    await _end_and_tell(session, problem, told)
            except LinkError:
                # the question may be why, as where an analyzer is connected anew: what was read
                # last stays shown, with its age
                continue
            session.report_rf_state()
            if problem is None:
                continue
            times_on += 1
            if times_on >= UNASKED_AT_MOST:
                raise unasked_output(bench, f"{times_on} times in one question")
            told.append(str(unasked_output(bench, problem)))
            await bench.operator.tell(told[-1])


async def _end_and_tell(session: Session, problem: str, told: list[str]) -> None:
    """Send OFF for RF that `problem` showed; a hand at the leads is warned before it is read back.

    `told` has meanwhile what was told.
    """
    bench = session.bench
    with suppress(OhmwrightError):  # it is sent again, and read back, below
        await bench.analyzer.switch_off()
    told.append(f"RF IS ON, and nobody asked for it: {problem}. OFF is being sent.")
    await tell_if_possible(bench, told[-1])
    await end_seen_output(session, problem)
    bench.operator.take_back(told.pop())
