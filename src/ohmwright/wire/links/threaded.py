"""Lines that can only be read by blocking: one thread owns each line."""

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
"""Longest time that the thread waits for bytes at a time. A read that is cancelled cannot be broken
off, so that the next message, which may be OFF, is late by as much."""
T = TypeVar("T")


class ThreadLink(Link):
    """A line that a thread of its own works, in slices of at most `SLICE_S`.

    A cancelled read leaves its slice to end by itself; bytes it still brings wait in a queue for
    the next read, and the next message waits for the slice. So no byte is lost, and OFF is delayed
    by a slice at most.
    """

    def __init__(self, name: str, lock: PortLock, thread: ThreadPoolExecutor) -> None:
        self.name = name
        self._lock = lock
        self._came: SimpleQueue[bytes] = SimpleQueue()
        self._thread: ThreadPoolExecutor | None = thread

    @abstractmethod
    def _read_slice(self, slice_s: float) -> bytes:
        """The bytes that come within `slice_s`; runs in the thread.

        Any error means that the line is gone.
        """

    @abstractmethod
    def _write_all(self, data: bytes) -> None:
        """Send all of `data` in bounded time; runs in the thread."""

    @abstractmethod
    def _close(self) -> None:
        """Close the line; runs in the thread."""

    def _stop_waiting(self) -> None:
        """End a slice early where the line can; runs outside the thread."""

    async def write(self, data: bytes) -> None:
        """Send all of `data`. Raises LinkTimeout, LinkLost."""
        await self._in_thread(partial(self._write_all, data))

    async def read(self, timeout_s: float) -> bytes:
        """The bytes that have come, from this slice or an earlier one.

        Raises LinkTimeout, LinkLost.
        """
        deadline_s = anyio.current_time() + timeout_s
        while True:
            data = self._arrived()
            if data:
                return data
            left_s = deadline_s - anyio.current_time()
            if left_s <= 0:
                raise silent(self.name, timeout_s)
            await self._in_thread(partial(self._keep, min(left_s, SLICE_S)))

    def waiting(self) -> bytes:
        """The bytes that earlier slices brought."""
        return self._arrived()

    async def aclose(self) -> None:
        """Close the line after the slice under way, and release its lock."""
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
        """Close the line and release its lock in one task, so that nobody sees half of it."""
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
    """A single thread that carries out tasks in the order they are submitted."""
    return ThreadPoolExecutor(max_workers=1, thread_name_prefix=f"link {name}")
