"""Questions and commands to one instrument, over a line that can fail at any byte."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Coroutine
from functools import partial
from random import Random
from typing import Any, TypeVar

from ohmwright.model.errors import InstrumentRefused, LinkLost, LinkTimeout, ProtocolError

from .clock import Clock
from .command_set import Ask, CommandSet, Tell
from .framing import Framing
from .link import Link
from .link_state import LinkState, OneTask, checked_transition
from .nonces import nonce_pair
from .replies import (
    MeasuredReply,
    check_echo,
    error_of,
    number_of,
    reply_parser,
    text_of,
)
from .scpi import decode_block

__all__ = ["Dialogue", "LinkState"]

T = TypeVar("T")
_SYNCED, _SUSPECT, _LOST = LinkState.SYNCED, LinkState.SUSPECT, LinkState.LOST
# named once: Python 3.11 is slow to find a member of an enum, and every exchange needs three
_ASKED_AT_MOST = 2
_TRIES = 3
_MOST_STRANGE_LINES = 16


class Dialogue:
    """Asks and tells, one message at a time, and knows whether the line is in step.

    `ask` sends a question of the command set, `tell` a command. The state is `suspect` from the
    first byte of a message until its whole reply is in, so a timeout, a cancellation or an error
    leaves it suspect by itself. Nothing is asked on a suspect line before it is resynchronised:
    what still comes is thrown away until fresh nonces are echoed. One task uses a dialogue.
    """

    def __init__(self, link: Link, commands: CommandSet, clock: Clock) -> None:
        self.state = _SUSPECT
        self.generation = 0
        """How often the line was brought into step; the same number, the same conversation."""
        self.commands = commands
        self._fields = commands.reading
        end = commands.reply_terminator.encode("ascii")
        self.framing = Framing(link, end, commands.timeout_s, clock)
        # a seed that another process does not repeat, and that a virtual clock does
        self._nonces = Random(clock.wall().timestamp())
        self._messages: dict[Ask, bytes] = {}
        self._alone = OneTask(link.name)

    def ask(self, verb: Ask) -> Coroutine[Any, Any, str]:
        """The reply to `verb`, without its terminator; asked twice when that helps."""
        return self._ask(verb, text_of)

    def ask_block(self, verb: Ask) -> Coroutine[Any, Any, bytes]:
        """The data of the definite-length block that answers `verb`."""
        return self._ask(verb, decode_block, self.framing.block)

    def ask_number(self, verb: Ask) -> Coroutine[Any, Any, float]:
        """The number that answers `verb`."""
        return self._ask(verb, number_of)

    def ask_reading(self, verb: Ask, unit: str) -> Coroutine[Any, Any, MeasuredReply]:
        """Value and number of a measured reply, which must be in `unit`.

        The value is NaN where the instrument has none; the number None where it gives none.
        """
        return self._ask(verb, reply_parser(self._fields, unit))

    async def echo(self) -> None:
        """Return when the line has echoed two nonces: it is in step and carries every digit."""
        for nonce in nonce_pair(self._nonces):
            message = self.commands.message("resynchronise", {"nonce": nonce})
            line = self.framing.line
            await self._exchange(message, partial(check_echo, nonce), line, _ASKED_AT_MOST)

    async def tell(self, verb: Tell, **fields: object) -> None:
        """Send the command `verb` once; return when the instrument reports no error.

        It is never repeated, since what may have arrived is not sent again. Raises
        InstrumentRefused with the entry of the instrument's error queue.
        """
        message = self.commands.message(verb, fields)
        with self._alone:
            if self.state is not _SYNCED:
                await self._resynchronise()
            await self._send(message)
            self.state = checked_transition(self.state, _SYNCED)
        if "error" in self.commands.ask:
            await self._raise_refusal(message)

    async def tell_at_once(self, verb: Tell) -> None:
        """Send `verb`, which is OFF, without regard to the state of the line.

        Even a line thought lost is tried; an unfinished message on it is ended first. Nothing is
        read: whoever sends OFF reads the state back.
        """
        message, before = self.commands.message(verb, {}), self.state
        if before is not _SYNCED:
            message = self.commands.terminator.encode("ascii") + message
        if before is _LOST:
            await self.framing.send(message)
            return
        await self._send(message)
        self.state = checked_transition(self.state, before)

    async def reconnect(self) -> bool:
        """Whether a lost line was opened again; if so it is out of step."""
        if not await self.framing.link.reconnect():
            return False
        self.framing.left = b""
        self.state = checked_transition(self.state, _SUSPECT)
        return True

    async def resynchronise(self) -> None:
        """Drain the line; return when it has echoed two fresh nonces.

        Raises LinkTimeout where nothing came, ProtocolError where something else did, LinkLost.
        """
        with self._alone:
            await self._resynchronise()

    def _ask(
        self,
        verb: Ask,
        parse: Callable[[bytes], T],
        receive: Callable[[], Awaitable[bytes]] | None = None,
    ) -> Coroutine[Any, Any, T]:
        message = self._messages.get(verb)
        if message is None:
            message = self._messages[verb] = self.commands.message(verb, {})
        # asking again for an error would lose the entry that was on its way
        times = 1 if verb == "error" else _ASKED_AT_MOST
        return self._exchange(message, parse, receive or self.framing.line, times)

    async def _exchange(
        self,
        message: bytes,
        parse: Callable[[bytes], T],
        receive: Callable[[], Awaitable[bytes]],
        times: int,
    ) -> T:
        """The parsed reply to `message`, which is sent at most so many `times`."""
        framing, reply = self.framing, b""
        try:
            with self._alone:
                if self.state is not _SYNCED:
                    await self._resynchronise()
                self.state = checked_transition(self.state, _SUSPECT)
                await framing.send(message)
                reply = await receive()
                if framing.left:
                    raise ValueError(f"{framing.left[:80]!r} followed it")
                value = parse(reply)
                self.state = checked_transition(self.state, _SYNCED)
                return value
        except LinkLost:
            self.state = checked_transition(self.state, _LOST)
            raise
        except ValueError as problem:
            if times == 1:
                raise framing.nonsense(reply or framing.left, str(problem)) from None
        except (LinkTimeout, ProtocolError):
            if times == 1:
                raise
        return await self._exchange(message, parse, receive, times - 1)

    async def _raise_refusal(self, message: bytes) -> None:
        code, text = await self._ask("error", error_of)
        if code != 0:
            said = message.decode("ascii").strip()
            raise InstrumentRefused(
                f"{self.framing.link.name} refused '{said}': {code}, {text}.",
                "It did not do what it was told.",
                "Check the procedure against the instrument's manual and state.",
                code=code,
            )

    async def _resynchronise(self) -> None:
        for tries_left in reversed(range(_TRIES)):
            try:
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
        """Have two different nonces echoed; one could by chance equal a late reply."""
        if self.state is not _LOST:
            await self.framing.drain()
        for nonce in nonce_pair(self._nonces):
            await self._send(self.commands.message("resynchronise", {"nonce": nonce}))
            await self._hear(nonce)

    async def _hear(self, nonce: int) -> None:
        strange: list[bytes] = []
        try:
            while len(strange) < _MOST_STRANGE_LINES:
                line = await self.framing.line()
                try:
                    return check_echo(nonce, line)
                except ValueError:
                    strange.append(line)
        except LinkTimeout:
            if not strange:
                raise
        except ValueError:
            strange.append(self.framing.left)
        received = b" ".join(strange)
        raise self.framing.nonsense(received, f"{nonce} was to be echoed, to find the line in step")

    async def _send(self, message: bytes) -> None:
        if self.state is _LOST:
            raise LinkLost(
                f"The line to {self.framing.link.name} is lost.",
                "What the instrument does now cannot be known.",
                "Reconnect it and start again.",
            )
        self.state = checked_transition(self.state, _SUSPECT)
        try:
            await self.framing.send(message)
        except LinkLost:
            self.state = checked_transition(self.state, _LOST)
            raise
