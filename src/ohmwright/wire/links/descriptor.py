"""Lines that the event loop can wait for: no thread, and a cancelled read has taken nothing."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Awaitable, Callable

import anyio

from ohmwright.wire.link import Link
from ohmwright.wire.portlock import PortLock

from .failures import lost, not_taken, silent

WRITE_TIMEOUT_S = 1.0
CHUNK = 65536


class DescriptorLink(Link):
    """A line with a file descriptor that never blocks."""

    def __init__(self, name: str, descriptor: int, lock: PortLock) -> None:
        self.name = name
        self._descriptor, self._lock = descriptor, lock
        self._open = True

    @abstractmethod
    def _take(self) -> bytes:
        """What has come; empty where nothing has or the line has ended. May raise OSError."""

    @abstractmethod
    def _give(self, data: bytes) -> int:
        """Send as much of `data` as goes at once; how much that was. May raise OSError."""

    @abstractmethod
    def _close(self) -> None:
        """Close the descriptor."""

    async def write(self, data: bytes) -> None:
        """Send all of `data`, in at most a second."""
        sent = self._sent(data)
        if sent < len(data):
            with anyio.move_on_after(WRITE_TIMEOUT_S):
                while sent < len(data):
                    await self._wait(anyio.wait_writable)
                    sent += self._sent(data[sent:])
            if sent < len(data):
                raise not_taken(self.name, sent, data, WRITE_TIMEOUT_S)

    async def read(self, timeout_s: float) -> bytes:
        """What comes within `timeout_s`. Bytes are taken and returned without a pause between."""
        with anyio.move_on_after(timeout_s) as waiting:
            await self._wait(anyio.wait_readable)
        data = self._taken()
        if data:
            return data
        if waiting.cancelled_caught:
            raise silent(self.name, timeout_s)
        raise lost(self.name, "the other side has closed it")

    async def aclose(self) -> None:
        """Close the line and give its lock back."""
        if self._open:
            self._open = False
            anyio.notify_closing(self._descriptor)
            self._close()
            self._lock.release()

    async def _wait(self, wait: Callable[[int], Awaitable[None]]) -> None:
        self._refuse_closed()
        try:
            await wait(self._descriptor)
        except anyio.ClosedResourceError:
            raise lost(self.name, "it was closed here") from None

    def _taken(self) -> bytes:
        self._refuse_closed()
        try:
            return self._take()
        except BlockingIOError:
            return b""
        except OSError as problem:
            raise lost(self.name, str(problem)) from None

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
