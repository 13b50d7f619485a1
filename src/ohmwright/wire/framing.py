"""Whole replies from a stream of bytes: lines, definite-length blocks, silence."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

from ohmwright.model.errors import LinkTimeout, ProtocolError

from .clock import Clock
from .hints import hint
from .link import Link
from .scpi import block_length

_QUIET_S = 0.15
_LONGEST_REPLY = 1 << 22


class Framing:
    """The bytes of one link, kept until a reply is whole."""

    def __init__(self, link: Link, end: bytes, timeout_s: float, clock: Clock) -> None:
        self.link = link
        self.trace: deque[tuple[float, str, bytes]] = deque(maxlen=50)
        """The last messages: when, `>` or `<`, and the bytes."""
        self.left = b""
        """What came after the last reply taken."""
        self._end, self._timeout_s, self._clock = end, timeout_s, clock

    async def send(self, message: bytes) -> None:
        """Write `message`."""
        self.trace.append((self._clock.now_s(), ">", message))
        await self.link.write(message)

    async def line(self) -> bytes:
        """The next line without its end. Raises LinkTimeout with the bytes that did come."""
        end = self._end
        if end not in self.left:
            await self._fill(lambda: end in self.left)
        line, _, self.left = self.left.partition(end)
        return line

    async def block(self) -> bytes:
        """The next definite-length block; its line end is taken off the stream.

        Raises ProtocolError where no block begins.
        """

        def whole() -> bool:
            length = block_length(self.left)
            return length is not None and len(self.left) >= length + len(self._end)

        try:
            await self._fill(whole)
            length = block_length(self.left) or 0
        except ValueError as problem:
            raise self.nonsense(self.left, str(problem)) from None
        block, self.left = self.left[:length], self.left[length + len(self._end) :]
        return block

    async def drain(self) -> None:
        """Throw away what comes until the line has been quiet for a while."""
        deadline_s = self._clock.now_s() + 2 * self._timeout_s
        while self._clock.now_s() < deadline_s:
            self.left = b""
            try:
                await self.link.read(_QUIET_S)
            except LinkTimeout:
                return

    def nonsense(self, received: bytes, why: str) -> ProtocolError:
        """What to raise when a reply makes no sense."""
        return ProtocolError(
            f"{self.link.name} replied {received[:80]!r} to {self._last_sent()!r}: {why}.",
            "No value was taken from it.",
            hint(received),
        )

    async def _fill(self, whole: Callable[[], bool]) -> None:
        deadline_s = self._clock.now_s() + self._timeout_s
        while not whole():
            if len(self.left) > _LONGEST_REPLY:
                raise self.nonsense(self.left, "it does not end")
            try:
                data = await self.link.read(max(0.001, deadline_s - self._clock.now_s()))
            except LinkTimeout:
                raise self._silence() from None
            self.trace.append((self._clock.now_s(), "<", data))
            self.left += data

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
