"""Questions and commands to one instrument, over a line that can fail at any byte."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Coroutine
from contextlib import suppress
from dataclasses import dataclass
from enum import StrEnum
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
from .exchange import Exchange, MeasuredReply, Refused, ReplyValues
from .framing import Framing
from .link import Link
from .message_parts import shown_bytes
from .scpi import unquote

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class ReadyQuestion:
    """A question of a command set, made ready to be asked any number of times."""

    exchange: Exchange
    ask: Callable[[], Coroutine[Any, Any, ReplyValues]]
    """Asks it on a line in step, twice when that helps."""
    is_numbered: bool
    """Whether it is sent, and every reply carries a number of its own."""


class LinkState(StrEnum):
    """Whether the next reply answers the next message."""

    SYNCED = "synced"
    """The next reply answers the next message."""
    SUSPECT = "suspect"
    """A reply may still be on its way: nothing is believed before a resynchronisation."""
    LOST = "lost"
    """The line is gone; it has to be found again, or a new one opened."""


_MAY_BECOME = {
    LinkState.SYNCED: frozenset({LinkState.SUSPECT, LinkState.LOST}),
    LinkState.SUSPECT: frozenset({LinkState.SUSPECT, LinkState.SYNCED, LinkState.LOST}),
    LinkState.LOST: frozenset({LinkState.LOST, LinkState.SUSPECT}),
}


def checked_transition(state: LinkState, to: LinkState) -> LinkState:
    """The state `to`. Raises RuntimeError where a line in `state` cannot become that."""
    if to not in _MAY_BECOME[state]:
        raise RuntimeError(f"a line that is {state.value} cannot become {to.value}")
    return to


_SYNCED, _SUSPECT, _LOST = LinkState.SYNCED, LinkState.SUSPECT, LinkState.LOST
# named once: Python 3.11 is slow to find a member of an enum, and every exchange needs three
_ASKED_AT_MOST = 2
_TRIES = 3
"""How often a line out of step is tried while nothing depends on it."""
_NO_ERROR = "no error"
"""Text of the number 0 in an instrument's error queue, without regard to case (SCPI, from
memory)."""
_OLD_ERRORS_AT_MOST = 50
"""How many old entries an error queue may have; what never empties is no queue."""
_CLOSED_WITHIN_S = 2.0


class OneTask:
    """A block that one task at a time may be in; two would read each other's replies."""

    __slots__ = ("_is_taken", "_name")

    def __init__(self, name: str) -> None:
        """`name`: of the line that they speak on."""
        self._name, self._is_taken = name, False

    def __enter__(self) -> None:
        if self._is_taken:
            raise RuntimeError(f"two tasks speak to {self._name} at once; a bench has one task")
        self._is_taken = True

    def __exit__(self, *_: object) -> None:
        self._is_taken = False


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
        self.commands = commands
        reply = commands.frames[1]
        self.framing = Framing(link, reply, commands.timeout_s, clock, commands.pause_s)
        # a seed that another process does not repeat, and that a virtual clock does
        draws = Random(clock.wall().timestamp())
        self.conversation = Conversation(self.framing, commands, draws)
        self._old_errors_read_in = -1
        """The generation in which no older error waits; another: some may."""
        self._one_task = OneTask(link.name)
        self._questions = dict[Ask, ReadyQuestion]()

    def ask(self, verb: Ask) -> Coroutine[Any, Any, str]:
        """The text that answers `verb`; asked twice when that helps."""
        return self._asked(verb, str)

    async def ask_block(self, verb: Ask) -> bytes:
        """The data of the definite-length block that answers `verb`."""
        exchange = self.commands.exchange(verb)
        return await self._repeated(partial(self.conversation.block, exchange), _ASKED_AT_MOST)

    def ask_number(self, verb: Ask) -> Coroutine[Any, Any, float]:
        """The number that answers `verb`; of a switch 0 for off and 1 for on."""
        return self._asked(verb, float)

    async def ask_reading(self, verb: Ask) -> MeasuredReply:
        """Value (a current in mA) and number of a measured reply.

        The value is NaN where the instrument has none; the number None where it gives none.
        """
        question = self.question(verb)
        return question.exchange.measured(await question.ask())

    def ask_values(self, verb: Ask) -> Coroutine[Any, Any, ReplyValues]:
        """All that the reply to `verb` says, by the names of quantities in our own units."""
        return self.question(verb).ask()

    def question(self, verb: Ask) -> ReadyQuestion:
        """The question `verb`, ready to be asked. Raises SourceError where there is none."""
        found = self._questions.get(verb)
        if found is None:
            exchange = self.commands.exchange(verb)
            # asking again for an error would lose the entry that was on its way
            times = 1 if verb == "error" else _ASKED_AT_MOST
            work = partial(self.conversation.exchange, exchange, {})
            ask, numbered = partial(self._repeated, work, times), exchange.is_numbered
            found = ReadyQuestion(exchange, ask, exchange.send is not None and numbered)
            self._questions[verb] = found
        return found

    async def prove(self) -> None:
        """Return when the line is proved once more, as far as the command set can."""
        await self._repeated(self.conversation.prove, _ASKED_AT_MOST)

    async def tell(self, verb: Tell, **fields: object) -> float:
        """Send the command `verb` once; when it was sent, once the instrument reports no error.

        It is never repeated, since what may have arrived is not sent again; but where the
        instrument is busy, and says that it has not done it. Raises InstrumentRefused with what
        the instrument said, and ProtocolError where that contradicts itself.
        """
        exchange = self.commands.exchange(verb)
        message = exchange.body(fields)
        await self._read_old_errors()
        await self._repeated(partial(self.conversation.exchange, exchange, fields), 1)
        sent_s = self.framing.last_sent_s()
        if "error" in self.commands.ask:
            said = await self.ask_values("error")
            if said["code"] != 0:
                self._old_errors_read_in = -1  # of one refusal there may be several entries
                text = unquote(str(said.get("text", "")))
                if text.casefold() == _NO_ERROR:
                    why = f"that is no error, and its number is {said['code']:g}, not 0"
                    raise self.framing.nonsense(self.framing.last_heard(), why)
                raise self._refusal(message, round(float(said["code"])), text)
        return sent_s

    async def _read_old_errors(self) -> None:
        """Empty the error queue of what was there before this conversation.

        It would count as a refusal of the next command: an entry of the day before, or one for the
        empty line that ends an unfinished message.
        """
        if "error" not in self.commands.ask or self._old_errors_read_in == self.generation:
            return
        for _ in range(_OLD_ERRORS_AT_MOST):
            if (await self.ask_values("error"))["code"] == 0:
                break
        self._old_errors_read_in = self.generation

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
        with self._one_task:
            await self._resynchronise()

    async def close(self) -> None:
        """Stop the stream and send the closing messages, where there are any and a line."""
        if self.state is _LOST or not (self.commands.closing or self.commands.stream):
            return
        bound = anyio.move_on_after(_CLOSED_WITHIN_S, shield=True)
        with suppress(LinkError, ValueError, Refused), bound, self._one_task:
            await self.conversation.stop_stream()
            await self.conversation.close()

    async def _asked(self, verb: Ask, read: Callable[[Any], T]) -> T:
        question = self.question(verb)
        return read((await question.ask())[question.exchange.asked])

    async def _repeated(self, work: Callable[[], Awaitable[T]], times: int) -> T:
        """What `work` brings, which is tried at most so many `times`, on a line in step."""
        with self._one_task:
            try:
                if self.state is not _SYNCED or self.conversation.is_disturbed():
                    await self._resynchronise()
                self.state = checked_transition(self.state, _SUSPECT)
                done = await work()
                self.state = checked_transition(self.state, _SYNCED)
                return done
            except Refused as refused:
                if not self.commands.opening:
                    self.state = checked_transition(self.state, _SYNCED)
                # else it may have left remote control: before the next message it is opened anew
                if times == 1 or not self.commands.opening:
                    sent = self.framing.last_sent()
                    raise self._refusal(sent, refused.code, refused.text) from None
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
        said = shown_bytes(message.strip(b"\r\n"))
        return InstrumentRefused(
            f"{self.framing.link.name} refused '{said}': {code}, {text}.",
            "It did not do what it was told.",
            "Check the procedure against the instrument's manual and state.",
            code=code,
        )

    async def _resynchronise(self) -> None:
        for tries_left in reversed(range(self.most_tries)):
            try:
                self.raise_if_lost()
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
            await self.conversation.find_step()
        except ValueError as problem:
            raise self.framing.nonsense(self.framing.last_heard(), str(problem)) from None
        except Refused as refused:
            sent = self.framing.last_sent()
            raise self.framing.nonsense(sent, f"it was refused: {refused.text}") from None

    def raise_if_lost(self) -> None:
        """Raise LinkLost where the line is lost."""
        if self.state is _LOST:
            raise LinkLost(
                f"The line to {self.framing.link.name} is lost.",
                "What the instrument does now cannot be known.",
                "Reconnect it and start again.",
            )
