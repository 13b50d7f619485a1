"""A line to something in the same process that answers at once: a simulated instrument."""

from __future__ import annotations

from collections.abc import Callable

from ohmwright.model.errors import LinkTimeout
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.link import Link


class MemoryLink(Link):
    """Hands each whole line to `handle` and keeps its reply.

    Nothing is ever waited for: a read with nothing to read lets its timeout pass on the
    virtual clock and raises LinkTimeout.
    """

    def __init__(self, name: str, handle: Callable[[bytes], bytes], clock: VirtualClock) -> None:
        self.name = name
        self._handle, self._clock = handle, clock
        self._unfinished = b""
        self._replies = b""

    async def write(self, data: bytes) -> None:
        """Have every line that is now whole answered."""
        if not self._unfinished and data.count(b"\n") == 1 and data.endswith(b"\n"):
            self._replies += self._handle(data)
            return
        *lines, self._unfinished = (self._unfinished + data).split(b"\n")
        for line in lines:
            self._replies += self._handle(line + b"\n")

    async def read(self, timeout_s: float) -> bytes:
        """Everything answered so far."""
        replies = self._replies
        if replies:
            self._replies = b""
            return replies
        self._clock.advance(timeout_s)
        raise LinkTimeout(f"{self.name}: nothing came within {timeout_s:g} s.")

    async def aclose(self) -> None:
        """Nothing to give back."""
