"""Lines that can only be read by waiting: one thread owns each, and nothing it reads is lost."""

from __future__ import annotations

import asyncio
from abc import abstractmethod
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from queue import Empty, SimpleQueue
from typing import TypeVar

import anyio

from ohmwright.model.errors import LinkError
from ohmwright.wire.link import Link
from ohmwright.wire.portlock import PortLock

from .failures import lost, silent

SLICE_S = 0.05
T = TypeVar("T")


class ThreadLink(Link):
    """A line worked by a thread of its own, in slices of at most 50 ms.

    A cancelled read leaves its slice to end by itself; what that still brings waits in a queue for
    the next read, and the next message waits for the slice. So no byte goes astray, and
    OFF is never later than a slice.
    """

    def __init__(self, name: str, lock: PortLock, thread: ThreadPoolExecutor) -> None:
        self.name = name
        self._lock = lock
        self._came: SimpleQueue[bytes] = SimpleQueue()
        self._thread: ThreadPoolExecutor | None = thread

    @abstractmethod
    def _read_slice(self, slice_s: float) -> bytes:
        """Wait up to `slice_s` for bytes; in the thread. Whatever it raises, the line is gone."""

    @abstractmethod
    def _write_all(self, data: bytes) -> None:
        """Send `data` in a bounded time; in the thread."""

    @abstractmethod
    def _close(self) -> None:
        """Close the line; in the thread."""

    def _stop_waiting(self) -> None:
        """End a slice early, where the line can; not in the thread."""

    async def write(self, data: bytes) -> None:
        """Send all of `data`."""
        await self._in_thread(partial(self._write_all, data))

    async def read(self, timeout_s: float) -> bytes:
        """What has come, from this slice or an earlier one."""
        deadline_s = anyio.current_time() + timeout_s
        while True:
            data = self._arrived()
            if data:
                return data
            left_s = deadline_s - anyio.current_time()
            if left_s <= 0:
                raise silent(self.name, timeout_s)
            await self._in_thread(partial(self._keep, min(left_s, SLICE_S)))

    async def aclose(self) -> None:
        """Close the line, after the slice under way, and give its lock back."""
        thread, self._thread = self._thread, None
        if thread is None:
            return
        self._stop_waiting()
        closed = thread.submit(self._close_and_unlock)
        thread.shutdown(wait=False)
        with anyio.CancelScope(shield=True):
            done, _ = await asyncio.wait([asyncio.wrap_future(closed)])
        for future in done:
            future.exception()  # a line that cannot even be closed is as good as closed

    def _close_and_unlock(self) -> None:
        """One piece of work, so that nobody sees the line closed and its lock still held."""
        try:
            self._close()
        finally:
            self._lock.release()

    def _keep(self, slice_s: float) -> None:
        data = self._read_slice(slice_s)
        if data:
            self._came.put(data)

    def _arrived(self) -> bytes:
        parts = []
        while True:
            try:
                parts.append(self._came.get_nowait())
            except Empty:
                return b"".join(parts)

    async def _in_thread(self, work: Callable[[], T]) -> T:
        if self._thread is None:
            raise lost(self.name, "it was closed here")
        try:
            return await asyncio.wrap_future(self._thread.submit(work))
        except LinkError:
            raise
        except Exception as problem:  # whatever a driver raises, the line is gone
            raise lost(self.name, str(problem) or type(problem).__name__) from None


def owner_thread(name: str) -> ThreadPoolExecutor:
    """A single thread that does what it is given in the order given."""
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix=f"link {name}")
