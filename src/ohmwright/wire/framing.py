"""Whole replies out of a stream of bytes: lines, definite-length blocks, silence."""

from __future__ import annotations

from collections import deque
from collections.abc import Coroutine
from typing import Any

from ohmwright.model.errors import LinkTimeout, ProtocolError

from .clock import Clock
from .hints import hint
from .link import Link
from .scpi import block_length

_QUIET_S = 0.15
_MOST_CHUNKS = 4096
_LONGEST_REPLY = 1 << 22
_REMEMBERED = 50
_SHOWN = 200


class Framing:
    """The bytes of one line, kept until a reply is whole."""

    def __init__(self, link: Link, end: bytes, timeout_s: float, clock: Clock) -> None:
        self.link = link
        self.trace: deque[tuple[float, str, bytes]] = deque(maxlen=_REMEMBERED)
        """The last messages: when, `>` or `<`, and the bytes (of a long one the first)."""
        self.left = b""
        """What came after the last reply taken."""
        self._end, self._timeout_s, self._clock = end, timeout_s, clock

    def send(self, message: bytes) -> Coroutine[Any, Any, None]:
        """Write `message`."""
        self.trace.append((self._clock.now_s(), ">", message))
        return self.link.write(message)

    async def line(self) -> bytes:
        """The next line without its end.

        Raises LinkTimeout with the bytes that did come, ValueError for a line without end.
        """
        began_s, waited_s = self._clock.now_s(), 0.0
        try:
            while (length := self.left.find(self._end)) < 0:
                self._add(await self._more(self._timeout_s - waited_s))
                waited_s = self.trace[-1][0] - began_s
        except LinkTimeout:
            raise self._silence() from None
        line, self.left = self.left[:length], self.left[length + len(self._end) :]
        return line

    async def block(self) -> bytes:
        """The next definite-length block, without the line end that follows it.

        It may take long, as long as bytes keep coming. Raises LinkTimeout, and ValueError where no
        block begins or it ends wrongly.
        """
        end = len(self._end)
        try:
            while (length := block_length(self.left)) is None or len(self.left) < length + end:
                self._add(await self._more(self._timeout_s))
        except LinkTimeout:
            raise self._silence() from None
        block, rest = self.left[:length], self.left[length:]
        if not rest.startswith(self._end):
            raise ValueError(f"the block is followed by {rest[:12]!r}")
        self.left = rest[end:]
        return block

    async def drain(self) -> None:
        """Throw away what comes until the line has been quiet for a while, or long enough."""
        deadline_s = self._clock.now_s() + 2 * self._timeout_s
        self.left = b""
        for _ in range(_MOST_CHUNKS):
            if self._clock.now_s() >= deadline_s:
                return
            try:
                self._add(await self._more(_QUIET_S))
            except LinkTimeout:
                return
            self.left = b""

    def nonsense(self, received: bytes, why: str) -> ProtocolError:
        """The error for a reply that makes no sense, for the reason `why`."""
        return ProtocolError(
            f"{self.link.name} replied {received[:80]!r} to {self._last_sent()!r}: {why}.",
            "No value was taken from it.",
            hint(received),
        )

    def _more(self, timeout_s: float) -> Coroutine[Any, Any, bytes]:
        """What comes next, within `timeout_s`. Raises ValueError where no more should come."""
        if len(self.left) > _LONGEST_REPLY:
            raise ValueError("it does not end")
        if timeout_s <= 0:
            raise self._silence()
        return self.link.read(timeout_s)

    def _add(self, data: bytes) -> None:
        """Keep what came; the trace shows it as one message with what came just before."""
        self.left += data
        trace = self.trace
        if trace and trace[-1][1] == "<":
            data = (trace.pop()[2] + data)[:_SHOWN]
        trace.append((self._clock.now_s(), "<", data))

    def _silence(self) -> LinkTimeout:
        came = f"only {self.left[:80]!r} came" if self.left else "nothing came"
        return LinkTimeout(
            f"{self.link.name} did not answer {self._last_sent()!r} within {self._timeout_s:g} s: "
            f"{came}.",
            "No value was taken from it.",
            hint(self.left),
            received=self.left,
        )

    def _last_sent(self) -> bytes:
        return next((data for _, way, data in reversed(self.trace) if way == ">"), b"")
