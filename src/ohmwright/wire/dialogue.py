"""Questions and commands to one instrument, over a line that can fail at any byte."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Coroutine, Mapping
from contextlib import suppress
from functools import partial
from random import Random
from typing import Any, TypeVar

import anyio

from ohmwright.model.errors import (
    InstrumentRefused,
    LinkError,
    LinkLost,
    LinkTimeout,
    ProtocolError,
)

from .clock import Clock
from .command_set import Ask, CommandSet, Tell
from .conversation import Conversation
from .exchange import Exchange, Refused, ReplyValues
from .framing import Framing
from .link import Link
from .link_state import LinkState, OneTask, checked_transition
from .off_answer import NOTHING_TELLS, OffAnswer
from .scpi import unquote

__all__ = ["Dialogue", "LinkState"]

T = TypeVar("T")
MeasuredReply = tuple[float, int | None]
"""Value and number of a measured reply."""
_SYNCED, _SUSPECT, _LOST = LinkState.SYNCED, LinkState.SUSPECT, LinkState.LOST
# named once: Python 3.11 is slow to find a member of an enum, and every exchange needs three
_ASKED_AT_MOST = 2
_TRIES = 3
"""How often a line out of step is tried while nothing depends on it."""
_CLOSED_WITHIN_S = 2.0
_ANSWER_WITHIN_S = 0.25
"""Longest wait in seconds for the answer to OFF."""


class Dialogue:
    """Asks and tells, one message at a time, and knows whether the line is in step.

    `ask` sends a question of the command set, `tell` a command. The state is `suspect` from the
    first byte of a message until its whole reply is in, so a timeout, a cancellation or an error
    leaves it suspect by itself; so do bytes that wait though nothing was asked. Nothing is asked on
    a suspect line before it is resynchronised: what still comes is thrown away until the command
    set's proof holds (`line_proof`). One task uses a dialogue.
    """

    def __init__(self, link: Link, commands: CommandSet, clock: Clock) -> None:
        self.state = _SUSPECT
        self.most_tries = _TRIES
        """How often a line out of step is tried before that is an error."""
        self.generation = 0
        """How often the line was brought into step; the same number, the same conversation."""
        self.off_answer = NOTHING_TELLS
        """What was said to the last OFF, where the command set has an answer for it."""
        self.commands = commands
        reply = commands.frames[1]
        self.framing = Framing(link, reply, commands.timeout_s, clock, commands.pause_s)
        # a seed that another process does not repeat, and that a virtual clock does
        draws = Random(clock.wall().timestamp())
        self._talk = Conversation(self.framing, commands, draws)
        self._alone = OneTask(link.name)
        self._questions = dict[Ask, Callable[[], Awaitable[ReplyValues]]]()

    def ask(self, verb: Ask) -> Coroutine[Any, Any, str]:
        """The text that answers `verb`; asked twice when that helps."""
        return self._asked(verb, str)

    async def ask_block(self, verb: Ask) -> bytes:
        """The data of the definite-length block that answers `verb`."""
        exchange = self.commands.exchange(verb)
        return await self._repeated(partial(self._talk.block, exchange), _ASKED_AT_MOST)

    def ask_number(self, verb: Ask) -> Coroutine[Any, Any, float]:
        """The number that answers `verb`; of a switch 0 for off and 1 for on."""
        return self._asked(verb, float)

    def ask_reading(self, verb: Ask) -> Coroutine[Any, Any, MeasuredReply]:
        """Value (a current in mA) and number of a measured reply.

        The value is NaN where the instrument has none; the number None where it gives none.
        """
        return self._asked_reading(verb)

    def ask_values(self, verb: Ask) -> Coroutine[Any, Any, ReplyValues]:
        """All that the reply to `verb` says, by the names of quantities in our own units."""
        # asking again for an error would lose the entry that was on its way
        times = 1 if verb == "error" else _ASKED_AT_MOST
        work = self._questions.get(verb)
        if work is None:
            work = partial(self._talk.exchange, self.commands.exchange(verb), {})
            self._questions[verb] = work
        return self._repeated(work, times)

    async def prove(self) -> None:
        """Return when the line is proved once more, as far as the command set can."""
        await self._repeated(self._talk.prove, _ASKED_AT_MOST)

    async def tell(self, verb: Tell, **fields: object) -> None:
        """Send the command `verb` once; return when the instrument reports no error.

        It is never repeated, since what may have arrived is not sent again. Raises
        InstrumentRefused with what the instrument said.
        """
        exchange = self.commands.exchange(verb)
        message = exchange.body(fields)
        await self._repeated(partial(self._talk.exchange, exchange, fields), 1)
        if "error" in self.commands.ask:
            said = await self.ask_values("error")
            if said["code"] != 0:
                text = unquote(str(said.get("text", "")))
                raise self._refusal(message, round(float(said["code"])), text)

    async def tell_at_once(self, verb: Tell) -> None:
        """Send `verb`, which is OFF, without regard to the state of the line.

        Even a line thought lost is tried; an unfinished message on it is ended first. An answer is
        awaited for a moment where one is due, so that the next question finds the line in step; it
        proves nothing, and whoever sends OFF reads the state back.
        """
        exchange, before = self.commands.exchange(verb), self.state
        self.off_answer = NOTHING_TELLS
        message = self.commands.message(verb, {})
        if before is not _SYNCED:
            message = await self._end_unfinished(message)
        if before is _LOST:
            await self.framing.send(message)
            return
        await self._send(message)
        if before is _SYNCED and not await self._answered(exchange):
            # OFF may have been lost; to send it again does no harm
            await self._send(await self._end_unfinished(message))
            return
        self.state = checked_transition(self.state, before)

    async def _answered(self, exchange: Exchange) -> bool:
        """Whether the answer to a message that was just sent is as it should be, or none is due."""
        try:
            await self._talk.hear_answer(exchange, min(exchange.timeout_s, _ANSWER_WITHIN_S))
        except (LinkTimeout, ProtocolError, ValueError, Refused):
            heard = self.framing.last_heard()
            self.off_answer = OffAnswer(taken=False, said=f"{heard[:80]!r}" if heard else "nothing")
            return False
        except LinkLost:
            self.state = checked_transition(self.state, _LOST)
            raise
        self.off_answer = OffAnswer(True if exchange.replies else None, "")
        return True

    async def reconnect(self) -> bool:
        """Whether a lost line was opened again; if so it is out of step."""
        if not await self.framing.link.reconnect():
            return False
        self.framing.left = b""
        self.state = checked_transition(self.state, _SUSPECT)
        return True

    def try_once(self) -> None:
        """From now on try a line out of step once: what waits for it is an OFF, or a report."""
        self.most_tries = 1

    def try_as_usual(self) -> None:
        """From now on try a line out of step as often as at first."""
        self.most_tries = _TRIES

    async def resynchronise(self) -> None:
        """Drain the line; return when it is proved in step.

        Raises LinkTimeout where nothing came, ProtocolError where something else did, LinkLost.
        """
        with self._alone:
            await self._resynchronise()

    async def close(self) -> None:
        """Stop the stream and send the closing messages, where there are any and a line."""
        if self.state is _LOST or not (self.commands.closing or self.commands.stream):
            return
        bound = anyio.move_on_after(_CLOSED_WITHIN_S, shield=True)
        with suppress(LinkError, ValueError, Refused), bound, self._alone:
            await self._talk.stop_stream()
            await self._talk.close()

    async def _asked(self, verb: Ask, read: Callable[[Any], T]) -> T:
        exchange = self.commands.exchange(verb)
        return read((await self.ask_values(verb))[exchange.asked])

    async def _asked_reading(self, verb: Ask) -> MeasuredReply:
        said = await self.ask_values(verb)
        return reading_of(self.commands.exchange(verb), said)

    async def _repeated(self, work: Callable[[], Awaitable[T]], times: int) -> T:
        """What `work` brings, which is tried at most so many `times`, on a line in step."""
        try:
            with self._alone:
                if self.state is not _SYNCED or self._talk.is_disturbed():
                    await self._resynchronise()
                self.state = checked_transition(self.state, _SUSPECT)
                done = await work()
                self.state = checked_transition(self.state, _SYNCED)
                return done
        except Refused as refused:
            self.state = checked_transition(self.state, _SYNCED)
            raise self._refusal(self.framing.last_sent(), refused.code, refused.text) from None
        except LinkLost:
            self.state = checked_transition(self.state, _LOST)
            raise
        except ValueError as problem:
            if times == 1:
                raise self.framing.nonsense(self.framing.last_heard(), str(problem)) from None
        except (LinkTimeout, ProtocolError) as problem:
            if isinstance(problem, LinkTimeout):
                await self.framing.link.check_guard()
            if times == 1:
                raise
        return await self._repeated(work, times - 1)

    def _refusal(self, message: bytes, code: int, text: str) -> InstrumentRefused:
        said = message.decode("latin-1").strip()
        return InstrumentRefused(
            f"{self.framing.link.name} refused '{said}': {code}, {text}.",
            "It did not do what it was told.",
            "Check the procedure against the instrument's manual and state.",
            code=code,
        )

    async def _resynchronise(self) -> None:
        for tries_left in reversed(range(self.most_tries)):
            try:
                self._raise_if_lost()
                self.state = checked_transition(self.state, _SUSPECT)
                await self._find_step()
            except LinkLost:
                self.state = checked_transition(self.state, _LOST)
                raise
            except (LinkTimeout, ProtocolError):
                if not tries_left:
                    raise
            else:
                self.state = checked_transition(self.state, _SYNCED)
                self.generation += 1
                return

    async def _find_step(self) -> None:
        """Find the line in step; nonsense is told as ProtocolError."""
        try:
            await self._talk.find_step()
        except ValueError as problem:
            raise self.framing.nonsense(self.framing.last_heard(), str(problem)) from None
        except Refused as refused:
            sent = self.framing.last_sent()
            raise self.framing.nonsense(sent, f"it was refused: {refused.text}") from None

    async def _end_unfinished(self, message: bytes) -> bytes:
        """`message` with the end of an unfinished one before it; sent alone where that needs it."""
        end = self.commands.unfinished_end
        if not self.commands.pause_s or not end:
            return end + message
        with suppress(LinkError):
            await self.framing.send(end)
        return message

    def _raise_if_lost(self) -> None:
        if self.state is _LOST:
            raise LinkLost(
                f"The line to {self.framing.link.name} is lost.",
                "What the instrument does now cannot be known.",
                "Reconnect it and start again.",
            )

    async def _send(self, message: bytes) -> None:
        self._raise_if_lost()
        self.state = checked_transition(self.state, _SUSPECT)
        try:
            await self.framing.send(message)
        except LinkLost:
            self.state = checked_transition(self.state, _LOST)
            raise


def reading_of(exchange: Exchange, said: Mapping[str, Any]) -> MeasuredReply:
    """Value and number of a reading that a reply to `exchange` says."""
    number = said.get("number")
    return said[exchange.asked], None if number is None else round(number)
