"""One question after the other over a line with RF off: the bytes of each, and what they mean.

A command set can be got right by it before anything is switched on. Of the commands of the set only
OFF is sent, by `release`, beside the messages that open and close the conversation. A text of
one's own is refused where the set knows it for a command, and may be a command all the same:
whoever sends one calls `release` afterwards, whatever became of it.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from random import Random

from ohmwright.model.errors import LinkLost, LinkTimeout, ProtocolError, UsageError

from .clock import Clock
from .command_set import Ask, CommandSet
from .conversation import Conversation
from .exchange import Exchange, Refused, message_text
from .field_codec import FieldValue
from .framing import Framing
from .link import Link
from .verbs import BLOCK, QUESTIONS

_NONCE = 137
"""Any number that is echoed; always one, so that a probe shows the same bytes each time."""
_BETWEEN_MESSAGES = re.compile(rb"[;\r\n]")
"""What parts several messages in one text, in the instruments that take them so."""


@dataclass(frozen=True)
class Probed:
    """What passed for one message, and what was understood."""

    name: str
    """The question; or `opening`, `stream`."""
    unasked: bytes
    """What waited on the line before."""
    sent: bytes
    """What was sent; empty where the stream says it by itself."""
    came: bytes
    """What came, with its echo and frame; of a long reply the first bytes."""
    took_s: float
    understood: Mapping[str, FieldValue] | None
    """By the names of quantities in our own units; None where it was not understood."""
    problem: str
    """Why it was not understood; empty where it was."""


class Prober:
    """Asks the questions of a command set, each by itself, whatever became of the one before."""

    def __init__(self, link: Link, commands: CommandSet, clock: Clock) -> None:
        self.commands, self._clock = commands, clock
        _, reply_layout = commands.frames
        self._framing = Framing(link, reply_layout, commands.timeout_s, clock, commands.pause_s)
        self._talk = Conversation(self._framing, commands, Random(_NONCE))

    def questions(self) -> tuple[Ask, ...]:
        """The questions of the command set: those asked, then those that its stream answers."""
        asked = [verb for verb in QUESTIONS if verb in self.commands.ask]
        return (*asked, *(verb for verb in QUESTIONS if verb in self.commands.streamed))

    async def opening(self) -> list[Probed]:
        """What passed for each opening message, the stop of the stream before them."""
        stop = self.commands.compiled.stream_stop
        first = () if stop is None else (("stop of the stream", stop),)
        opening = (("opening", each) for each in self.commands.compiled.opening_exchanges)
        return [await self._probe(name, exchange, {}) for name, exchange in (*first, *opening)]

    async def question(self, verb: Ask, instead: str | None = None) -> Probed:
        """What passed for the question `verb`; with `instead` as its text, where that is given.

        Raises UsageError where that text is none, or is one of the commands.
        """
        exchange = self.commands.exchange(verb)
        if instead is not None:
            exchange = self._with_text(exchange, instead)
        values = {"nonce": _NONCE} if verb == "resynchronise" else {}
        return await self._probe(verb, exchange, values)

    async def release(self) -> list[Probed]:
        """What passed for the state of the output, for OFF, and for the state again.

        To be called after a text of one's own, which may have been ON. Nothing where the set has no
        OFF, as that of a generator which the analyzer keys.
        """
        if "off" not in self.commands.tell:
            return []
        has_state = "state" in self.questions()
        if "state" in self.commands.streamed:
            await self.start_stream()
        before = [await self.question("state")] if has_state else []
        off = await self._probe("off", self.commands.exchange("off"), {})
        return [*before, off, *([await self.question("state")] if has_state else [])]

    async def start_stream(self) -> Probed | None:
        """What passed for the message that starts the stream; None without one."""
        start = self.commands.compiled.stream_start
        return None if start is None else await self._probe("start of the stream", start, {})

    async def close(self) -> None:
        """Send what stops the stream, and the closing messages."""
        await self._talk.stop_stream()
        await self._framing.drain()
        for exchange in self.commands.compiled.closing_exchanges:
            await self._probe("closing", exchange, {})

    async def _probe(self, name: str, exchange: Exchange, values: Mapping[str, object]) -> Probed:
        trace = self._framing.trace
        trace.clear()
        if exchange.send is not None:
            await self._framing.drain()
        unasked = b"".join(data for _, way, data in trace if way == "<")
        trace.clear()
        begun_s, understood, problem = self._clock.now_s(), None, ""
        try:
            understood = await self._understood(exchange, values)
        except LinkLost:
            raise
        except Refused as refusal:
            problem = f"it was refused: {refusal.code} {refusal.text}"
        except LinkTimeout as silence:
            problem = f"{silence.happened} {silence.do}"
        except (ValueError, ProtocolError) as nonsense:
            problem = f"{nonsense}"
        took_s = self._clock.now_s() - begun_s
        sent, came = (b"".join(data for _, way, data in trace if way == which) for which in "><")
        return Probed(name, unasked, sent, came, took_s, understood, problem)

    async def _understood(
        self, exchange: Exchange, values: Mapping[str, object]
    ) -> Mapping[str, FieldValue]:
        if exchange.verb == BLOCK:
            return {"bytes": float(len(await self._talk.block(exchange)))}
        return await self._talk.exchange(exchange, values)

    def _with_text(self, exchange: Exchange, text: str) -> Exchange:
        """`exchange` with another text. Raises UsageError where a part of it is a command."""
        try:
            made = message_text(text, {}, named_bytes=self.commands.format > 1)
        except ValueError as problem:
            raise UsageError(f"'{text}' cannot be sent: {problem}.") from None
        if made.fields:
            raise UsageError(f"'{text}' has a field in braces; a question is sent as it stands.")
        body = made.filled({})
        parts = (body, *(part.strip() for part in _BETWEEN_MESSAGES.split(body)))
        for verb in self.commands.tell:
            command = self.commands.exchange(verb).send
            if command is not None and any(_may_be(command.pattern, part) for part in parts):
                raise UsageError(
                    f"'{text}' is or contains the command '{verb}': it is no question.",
                    "A probe switches nothing on and sets nothing. It was not sent.",
                    "Give a text that the manual calls a question.",
                )
        return replace(exchange, send=made)


def _may_be(pattern: bytes, body: bytes) -> bool:
    """Whether `body` is a message of `pattern`, in capital letters or small ones."""
    return re.fullmatch(pattern, body, re.DOTALL | re.IGNORECASE) is not None
