"""What passes on a line that is in step: message, echo, reply; lines that come by themselves."""

from __future__ import annotations

from collections.abc import Coroutine, Mapping
from contextlib import suppress
from dataclasses import replace
from random import Random
from typing import Any

from ohmwright.model.errors import LinkTimeout, ProtocolError

from .command_set import CommandSet
from .exchange import Exchange, NotSaidError, ReplyValues
from .framing import Framing
from .line_proof import unlike_questions
from .nonces import nonce_pair
from .scpi import decode_block

_MOST_STRANGE_LINES = 16
_BETWEEN_TRIES_S = 0.1
"""How long a busy instrument is left alone before the same is said to it again."""


class Conversation:
    """Messages and replies in the form of a command set, each once, whatever state the line is in.

    Every method may raise LinkTimeout, LinkLost, and ValueError for what makes no sense.
    """

    def __init__(self, framing: Framing, commands: CommandSet, draws: Random) -> None:
        self.framing, self.commands = framing, commands
        self._sent_layout, self._reply_layout = commands.frames
        self._echo_layout = replace(self._sent_layout, ends=commands.echo_end)
        self._draws, self._echoes = draws, commands.echo
        self._ready = dict[Exchange, tuple[bytes, bytes]]()
        """The body and the bytes of messages without fields that were sent before."""
        self._line = commands.compiled.stream_line
        self._unlike = unlike_questions(commands)
        self._nonce = 0

    async def exchange(self, exchange: Exchange, values: Mapping[str, object]) -> ReplyValues:
        """What the reply to one message says; empty where none comes. Raises Refused."""
        if exchange.send is None:
            return await self._line_after_now(exchange)
        reply = await self._heard(exchange, values)
        said = exchange.read(reply) if exchange.replies else {}
        if exchange.busy_s:
            await self.framing.wait(exchange.busy_s)
        return said

    async def _heard(self, exchange: Exchange, values: Mapping[str, object]) -> bytes:
        """The body of the reply to one message; empty where none comes.

        What a busy instrument puts off is said again until the time for its reply is over.
        """
        body, message = self._ready.get(exchange) or self._made(exchange, values)
        end_s = self.framing.now_s() + exchange.timeout_s
        while True:
            await self.framing.send(message)
            if self._echoes:
                await self._hear_echo(body, exchange.timeout_s)
            reply = await self._reply(exchange.timeout_s) if exchange.replies else b""
            if self.framing.now_s() >= end_s or not exchange.puts_off(reply):
                return reply
            await self.framing.wait(_BETWEEN_TRIES_S)

    def _made(self, exchange: Exchange, values: Mapping[str, object]) -> tuple[bytes, bytes]:
        """The body and the bytes of a message; kept where it has no fields."""
        body = exchange.body(values)
        made = body, self._sent_layout.wrap(body)
        if not values:
            self._ready[exchange] = made
        return made

    async def hear_answer(self, exchange: Exchange, within_s: float) -> None:
        """Hear the echo and the answer of a message without values that was sent already."""
        if self._echoes:
            await self._hear_echo(exchange.body({}), within_s)
        if exchange.replies:
            exchange.read(await self._reply(within_s))

    async def block(self, exchange: Exchange) -> bytes:
        """The data of the definite-length block that answers a message."""
        await self._send(exchange, {})
        if self._reply_layout.is_plain:
            return decode_block(await self.framing.block(alone=self._line is None))
        return decode_block(await self._reply(exchange.timeout_s))

    def is_disturbed(self) -> bool:
        """Whether bytes wait on the line that nobody asked for; lines of a stream are taken."""
        if not self.framing.unasked():
            return False
        if self._line is None:
            return True
        try:
            self._drop_lines()
        except ValueError:
            return True
        return False

    async def find_step(self) -> None:
        """Drain the line, open the conversation, and return when the line is proved in step."""
        await self._silence()
        for opening in self.commands.compiled.opening_exchanges:
            await self.exchange(opening, {})
        if self.commands.can_ask("resynchronise"):
            for nonce in nonce_pair(self._draws):
                await self._hear_nonce(nonce)
        elif self._unlike is not None:
            await self._ask_unlike()
            if not self._always_streams:
                await self.framing.see_quiet()
        await self._start_stream()

    async def prove(self) -> None:
        """Return when a line that was in step is shown to be so still, as far as it can be."""
        if self.commands.can_ask("resynchronise"):
            exchange = self.commands.exchange("resynchronise")
            for nonce in nonce_pair(self._draws):
                said = await self.exchange(exchange, {"nonce": nonce})
                if said["nonce"] != nonce:
                    raise ValueError(f"{nonce} was to be echoed")
        elif self._unlike is not None:
            await self._ask_unlike()
        elif self._line is not None and not self._always_streams:
            await self._silence()
            await self._start_stream()

    @property
    def _always_streams(self) -> bool:
        return self._line is not None and self.commands.compiled.stream_stop is None

    async def _silence(self) -> None:
        """Throw away what is on the line; what comes from then on was said from then on."""
        if self._always_streams:
            await self.framing.skip_cut_frame()
            return
        await self.stop_stream()
        if await self.framing.drain() or await self._is_silent_once_opened():
            return
        raise ValueError("bytes go on to come though nothing was asked")

    async def _is_silent_once_opened(self) -> bool:
        """Whether a stop helps that may have been refused before, outside remote control.

        Where there is no such thing nothing is waited for: RF may be on, and OFF comes after this.
        """
        compiled = self.commands.compiled
        if compiled.stream_stop is None or not compiled.opening_exchanges:
            return False
        await self.open_unheard()
        await self.stop_stream()
        return await self.framing.drain()

    async def open_unheard(self) -> None:
        """Send the opening messages without hearing what is said to them."""
        for opening in self.commands.compiled.opening_exchanges:
            await self.framing.send(self._sent_layout.wrap(opening.body({})))

    async def stop_stream(self) -> None:
        """Tell the instrument to send no lines, where it can be told."""
        stop = self.commands.compiled.stream_stop
        if stop is not None:
            await self.framing.send(self._sent_layout.wrap(stop.body({})))

    async def close(self) -> None:
        """Send the closing messages."""
        for closing in self.commands.compiled.closing_exchanges:
            await self.exchange(closing, {})

    async def _start_stream(self) -> None:
        start = self.commands.compiled.stream_start
        if start is not None:
            await self.exchange(start, {})
        if self._line is not None:
            await self._next_line(self._line.timeout_s)

    async def _send(self, exchange: Exchange, values: Mapping[str, object]) -> None:
        body = exchange.body(values)
        await self.framing.send(self._sent_layout.wrap(body))
        if self._echoes:
            await self._hear_echo(body, exchange.timeout_s)

    async def _hear_echo(self, body: bytes, within_s: float) -> None:
        """Hear a message come back. Raises ValueError where another does."""
        echo = await self.framing.reply(within_s, self._echo_layout)
        if echo != body:
            raise ValueError(f"it should be echoed, and {echo[:80]!r} came")

    def _reply(self, timeout_s: float) -> Coroutine[Any, Any, bytes]:
        """The body of the next reply; lines of the stream in between are passed over."""
        if self._line is None:
            return self.framing.reply(timeout_s, alone=True)
        return self._reply_among_lines(timeout_s, self._line)

    async def _reply_among_lines(self, timeout_s: float, line: Exchange) -> bytes:
        end_s = self.framing.now_s() + timeout_s
        while True:
            body = await self.framing.reply(end_s - self.framing.now_s())
            if not line.fits(body):
                return body

    async def _line_after_now(self, exchange: Exchange) -> ReplyValues:
        """What the first line says that is complete after now."""
        self.framing.unasked()
        self._drop_lines()
        end_s = self.framing.now_s() + exchange.timeout_s
        while True:
            body = await self._next_line(end_s - self.framing.now_s())
            with suppress(NotSaidError):  # a line without a reading may say nothing else either
                return exchange.read(body)

    async def _next_line(self, within_s: float) -> bytes:
        body = await self.framing.reply(within_s)
        assert self._line is not None  # else nothing would be streamed
        if not self._line.fits(body):
            raise ValueError("it is no line of the stream")
        # nothing was sent for it, and a guard takes silence for a program that hangs
        await self.framing.link.heartbeat()
        return body

    def _drop_lines(self) -> None:
        """Drop the lines that are complete. Raises ValueError for anything else."""
        assert self._line is not None  # else nothing would be streamed
        while (found := self._reply_layout.split(self.framing.left)) is not None:
            frame, self.framing.left = found
            if not self._line.fits(self._reply_layout.open(frame)):
                raise ValueError(f"{frame[:80]!r} is no line of the stream")

    async def _ask_unlike(self) -> None:
        """Ask two questions of unlike form: replies that are one behind fit neither."""
        assert self._unlike is not None  # whoever asks has looked
        one, two = self._unlike
        body = await self._heard(one, {})
        one.read(body)
        if two.fits(body):
            raise ValueError(f"it could also answer '{two.verb}', so it proves nothing")
        await self.exchange(two, {})

    async def _hear_nonce(self, nonce: int) -> None:
        """Have `nonce` echoed; late replies before it are passed over."""
        exchange, strange = self.commands.exchange("resynchronise"), list[bytes]()
        before, self._nonce = self._nonce, nonce
        await self._send(exchange, {"nonce": nonce})
        try:
            while len(strange) < _MOST_STRANGE_LINES:
                body = await self.framing.reply(exchange.timeout_s)
                if _is_nonce(exchange, body, nonce):
                    return
                strange.append(body)
                if exchange.puts_off(body):
                    await self.framing.wait(_BETWEEN_TRIES_S)
                    await self._send(exchange, {"nonce": nonce})
        except LinkTimeout:
            if not strange:
                raise
        except ValueError:
            strange.append(self.framing.left)
        why = f"{nonce} was to be echoed, to find the line in step"
        if any(_is_nonce(exchange, body, before) for body in strange):
            why += f"; {before} was asked for before, so answers may take longer than 'timeout_s'"
        raise self._strange(b" ".join(strange), why)

    def _strange(self, received: bytes, why: str) -> ProtocolError:
        return self.framing.nonsense(received, why)


def _is_nonce(exchange: Exchange, body: bytes, nonce: int) -> bool:
    try:
        return exchange.read(body)["nonce"] == nonce
    except ValueError:
        return False
