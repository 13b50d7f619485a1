"""A line to something in the same process that answers at once: a simulated instrument."""

from __future__ import annotations

from collections.abc import Callable

from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.link import Link

from .failures import lost, silent


class MemoryLink(Link):
    """Hands each whole line to `handle` and keeps its reply.

    Nothing is ever waited for: a read with nothing to read lets its timeout pass on the
    virtual clock and raises LinkTimeout. A `handle` that raises ConnectionError is a line that
    is gone.
    """

    def __init__(self, name: str, handle: Callable[[bytes], bytes], clock: VirtualClock) -> None:
        self.name = name
        self._handle, self._clock = handle, clock
        self._unfinished = b""
        self._replies = b""

    async def write(self, data: bytes) -> None:
        """Have every line that is now whole answered."""
        try:
            if not self._unfinished and data.count(b"\n") == 1 and data.endswith(b"\n"):
                self._replies += self._handle(data)
                return
            *lines, self._unfinished = (self._unfinished + data).split(b"\n")
            for line in lines:
                self._replies += self._handle(line + b"\n")
        except ConnectionError as problem:
            self._handle = _gone
            raise lost(self.name, str(problem) or "the other side has closed it") from None

    async def read(self, timeout_s: float) -> bytes:
        """Everything answered so far."""
        replies = self._replies
        if replies:
            self._replies = b""
            return replies
        if self._handle is _gone:
            raise lost(self.name, "it was closed")
        self._clock.advance(timeout_s)
        raise silent(self.name, timeout_s)

    async def aclose(self) -> None:
        """Answer nothing any more."""
        self._handle, self._replies = _gone, b""


def _gone(_: bytes) -> bytes:
    raise ConnectionResetError("it was closed")
