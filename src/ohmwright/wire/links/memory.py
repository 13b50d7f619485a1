"""A line to a simulated instrument in the same process, which answers at once."""

from __future__ import annotations

from collections.abc import Callable

from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.link import Link

from .failures import lost, silent


class MemoryLink(Link):
    """Hands each whole line to `handle` and keeps the reply.

    Nothing is waited for: a read with nothing to read advances the virtual clock by its timeout and
    raises LinkTimeout. Where `handle` raises ConnectionError the line is lost.
    """

    harmless = True

    def __init__(self, name: str, handle: Callable[[bytes], bytes], clock: VirtualClock) -> None:
        self.name = name
        self._handle, self._clock = handle, clock
        self._unfinished = b""
        self._replies = b""

    async def write(self, data: bytes) -> None:
        """Have `handle` answer each line that `data` completes. Raises LinkLost."""
        handle = self._handle
        try:
            if not self._unfinished and data.find(b"\n") == len(data) - 1:
                self._replies += handle(data)
                return
            *lines, self._unfinished = (self._unfinished + data).split(b"\n")
            for line in lines:
                self._replies += handle(line + b"\n")
        except ConnectionError as problem:
            self._handle = _gone
            raise lost(self.name, str(problem) or "the other side has closed it") from None

    async def read(self, timeout_s: float) -> bytes:
        """The replies so far. Raises LinkTimeout where there are none, LinkLost."""
        replies = self._replies
        if replies:
            self._replies = b""
            return replies
        if self._handle is _gone:
            raise lost(self.name, "it was closed")
        self._clock.advance(timeout_s)
        raise silent(self.name, timeout_s)

    def waiting(self) -> bytes:
        """The replies so far, perhaps none."""
        replies, self._replies = self._replies, b""
        return replies

    async def aclose(self) -> None:
        """Close the line; what was not read is dropped."""
        self._handle, self._replies = _gone, b""


def _gone(_: bytes) -> bytes:
    raise ConnectionResetError("it was closed")
