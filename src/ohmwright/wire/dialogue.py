"""A conversation with one instrument over a line that can fail at any byte (rule 3)."""

from __future__ import annotations

from collections.abc import Awaitable
from enum import Enum
from math import nan
from typing import TypeVar

from ohmwright.model.errors import InstrumentRefused, LinkLost, LinkTimeout, ProtocolError

from .clock import Clock
from .command_set import Ask, CommandSet, Tell
from .framing import Framing
from .link import Link
from .scpi import decode_block, parse_error, parse_number

T = TypeVar("T")
_TRIES = 3


class LinkState(Enum):
    """What the next reply can be believed to answer."""

    SYNCED = "synced"
    SUSPECT = "suspect"
    LOST = "lost"


class Dialogue:
    """Asks and tells, one message at a time, and knows whether the line is in step.

    The state is `suspect` from the first byte of a message until the whole of its reply is in,
    so a timeout, a cancellation or an error leaves it suspect by itself. From there nothing
    is asked before a resynchronisation: what still comes is thrown away until a fresh nonce
    is echoed. One task uses a dialogue (rule 4).
    """

    def __init__(self, link: Link, commands: CommandSet, clock: Clock) -> None:
        self.state = LinkState.SUSPECT
        self.commands = commands
        end = commands.reply_terminator.encode("ascii")
        self.framing = Framing(link, end, commands.timeout_s, clock)
        self._nonce = 0
        self._messages: dict[Ask, bytes] = {}

    async def ask(self, verb: Ask) -> str:
        """The reply to `verb`, without its terminator; asked twice when that helps."""
        return (await self._ask(verb, block=False)).decode("latin-1")

    async def ask_block(self, verb: Ask) -> bytes:
        """The data of the definite-length block that answers `verb`."""
        reply = await self._ask(verb, block=True)
        try:
            return decode_block(reply)
        except ValueError as problem:
            raise self._nonsense(reply, problem) from None

    async def ask_number(self, verb: Ask) -> float:
        """The number that answers `verb`."""
        reply = await self.ask(verb)
        try:
            return parse_number(reply)
        except ValueError as problem:
            raise self._nonsense(reply.encode("latin-1"), problem) from None

    async def ask_reading(self, verb: Ask, unit: str) -> tuple[float, int | None]:
        """Value and number of a measured reply, which must be in `unit`.

        The value is NaN where the instrument has none; the number None where it gives none.
        """
        reply = await self.ask(verb)
        try:
            return _reading(reply, self.commands.reading, unit)
        except ValueError as problem:
            raise self._nonsense(reply.encode("latin-1"), problem) from None

    async def tell(self, verb: Tell, **fields: object) -> None:
        """Say `verb` once and see that the instrument took it.

        Never repeated: what may have arrived is not sent again. Raises InstrumentRefused with
        what the instrument put into its error queue.
        """
        message = self.commands.message(verb, fields)
        if self.state is not LinkState.SYNCED:
            await self.resynchronise()
        await self._send(message)
        if "error" in self.commands.ask:
            await self._raise_refusal(message)
        self.state = LinkState.SYNCED

    async def tell_first(self, verb: Tell) -> None:
        """Send `verb` at once, whatever the state of the line: for OFF.

        A message left unfinished before it is ended first. Nothing is read, so the next
        question resynchronises before it believes an answer.
        """
        message = self.commands.message(verb, {})
        if self.state is LinkState.SUSPECT:
            message = self.commands.terminator.encode("ascii") + message
        await self._send(message)

    async def resynchronise(self) -> None:
        """Drain the line, then find a fresh nonce echoed. Raises LinkTimeout or LinkLost."""
        for attempt in range(1, _TRIES + 1):
            await self._watched(self.framing.drain())
            self._nonce = self._nonce % 255 + 1
            await self._send(self.commands.message("resynchronise", {"nonce": self._nonce}))
            try:
                while await self._watched(self.framing.line()) != str(self._nonce).encode():
                    continue
            except LinkTimeout:
                if attempt == _TRIES:
                    raise
            else:
                self.state = LinkState.SYNCED
                return

    async def _ask(self, verb: Ask, *, block: bool) -> bytes:
        message = self._messages.get(verb)
        if message is None:
            message = self._messages[verb] = self.commands.message(verb, {})
        try:
            return await self._exchange(message, block=block)
        except (LinkTimeout, ProtocolError):
            if verb == "error":  # asking again would lose the entry that was on its way
                raise
            return await self._exchange(message, block=block)

    async def _exchange(self, message: bytes, *, block: bool) -> bytes:
        if self.state is not LinkState.SYNCED:
            await self.resynchronise()
        await self._send(message)
        framing = self.framing
        reply = await self._watched(framing.block() if block else framing.line())
        if framing.left:
            raise framing.nonsense(reply + b" ... " + framing.left, "more came than one reply")
        self.state = LinkState.SYNCED
        return reply

    async def _raise_refusal(self, message: bytes) -> None:
        self.state = LinkState.SYNCED
        entry = await self.ask("error")
        try:
            code, text = parse_error(entry)
        except ValueError as problem:
            raise self._nonsense(entry.encode("latin-1"), problem) from None
        if code != 0:
            said = message.decode("ascii").strip()
            raise InstrumentRefused(
                f"{self.framing.link.name} refused '{said}': {code}, {text}.",
                "It did not do what it was told.",
                "Check the procedure against the instrument's manual and state.",
                code=code,
            )

    async def _send(self, message: bytes) -> None:
        if self.state is LinkState.LOST:
            raise LinkLost(
                f"The line to {self.framing.link.name} is lost.",
                "What the instrument does now cannot be known.",
                "Reconnect it and start again.",
            )
        self.state = LinkState.SUSPECT
        await self._watched(self.framing.send(message))

    async def _watched(self, work: Awaitable[T]) -> T:
        """Remember when the line is lost."""
        try:
            return await work
        except LinkLost:
            self.state = LinkState.LOST
            raise

    def _nonsense(self, reply: bytes, problem: ValueError) -> ProtocolError:
        self.state = LinkState.SUSPECT
        return self.framing.nonsense(reply, str(problem))


def _reading(reply: str, names: tuple[str, ...], unit: str) -> tuple[float, int | None]:
    parts = reply.split(",")
    if len(parts) != len(names):
        raise ValueError(f"it should be {','.join(names)}")
    value, number = nan, None
    for name, part in zip(names, parts, strict=True):
        if name == "value":
            value = parse_number(part)
        elif name == "number":
            number = int(part)
        elif part != unit:
            raise ValueError(f"it is in {part} and should be in {unit}")
    return value, number
