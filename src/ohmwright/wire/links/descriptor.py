"""Lines with a descriptor that the event loop waits for; base of serial and TCP lines."""

from __future__ import annotations

from abc import abstractmethod

import anyio

from ohmwright.wire.link import Link
from ohmwright.wire.port_bounds import WRITE_TIMEOUT_S
from ohmwright.wire.portlock import PortLock

from .arrivals import Arrivals
from .failures import lost, not_taken, silent


class DescriptorLink(Link):
    """A line with a file descriptor that never blocks, used without a thread."""

    def __init__(self, name: str, descriptor: int, lock: PortLock) -> None:
        self.name = name
        self._descriptor, self._lock = descriptor, lock
        self._arrivals = Arrivals(descriptor, self._take)
        self._open = True

    @abstractmethod
    def _take(self) -> bytes:
        """The bytes that have come; empty where the line has ended. May raise OSError."""

    @abstractmethod
    def _give(self, data: bytes) -> int:
        """Send what of `data` goes at once; the number of bytes sent. May raise OSError."""

    @abstractmethod
    def _close(self) -> None:
        """Close the descriptor."""

    async def write(self, data: bytes) -> None:
        """Send all of `data` within a second. Raises LinkTimeout, LinkLost."""
        sent = self._sent(data)
        if sent < len(data):
            with anyio.move_on_after(WRITE_TIMEOUT_S):
                while sent < len(data):
                    await self._writable()
                    sent += self._sent(data[sent:])
            if sent < len(data):
                raise not_taken(self.name, sent, data, WRITE_TIMEOUT_S)

    async def read(self, timeout_s: float) -> bytes:
        """The bytes that come within `timeout_s`. Raises LinkTimeout, LinkLost."""
        try:
            data = await self._arrivals.next(timeout_s)
        except OSError as problem:
            raise lost(self.name, str(problem)) from None
        if not data:
            raise silent(self.name, timeout_s)
        return data

    def waiting(self) -> bytes:
        """The bytes that have come already. Raises LinkLost."""
        try:
            return self._arrivals.here()
        except OSError as problem:
            raise lost(self.name, str(problem)) from None

    async def aclose(self) -> None:
        """Close the line and release its lock."""
        if self._open:
            self._open = False
            self._arrivals.close()
            self._close()
            self._lock.release()

    async def _writable(self) -> None:
        self._refuse_closed()
        try:
            await anyio.wait_writable(self._descriptor)
        except anyio.ClosedResourceError:
            raise lost(self.name, "it was closed here") from None

    def _sent(self, data: bytes) -> int:
        self._refuse_closed()
        try:
            return self._give(data)
        except BlockingIOError:
            return 0
        except OSError as problem:
            raise lost(self.name, str(problem)) from None

    def _refuse_closed(self) -> None:
        if not self._open:
            raise lost(self.name, "it was closed here")
