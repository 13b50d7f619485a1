"""Bytes that come on a descriptor, taken by the event loop as they come."""

from __future__ import annotations

import asyncio
import select
from collections.abc import Callable
from contextlib import suppress
from math import inf

import anyio

_MOST_KEPT = 1 << 20


class Arrivals:
    """What has come on one descriptor and nobody has asked for yet.

    The descriptor stays registered with the event loop between waits: to register it for each reply
    takes longer than a quick reply. It is registered no more while a megabyte is kept.
    """

    def __init__(self, descriptor: int, take: Callable[[], bytes]) -> None:
        """`take` returns the bytes that are there; none means the end. It may raise OSError."""
        self._descriptor, self._take = descriptor, take
        self._came = b""
        self._failure: OSError | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._waiter: asyncio.Future[None] | None = None

    async def next(self, timeout_s: float = inf) -> bytes:
        """The bytes that come within `timeout_s`; empty where none do. Raises OSError at the end.

        A cancelled wait loses no byte.
        """
        if not self._came and self._failure is None:
            await self._wait(timeout_s)
        return self._handed_out()

    def here(self) -> bytes:
        """The bytes that are there now; never waits. Raises OSError at the end of the line."""
        # a serial port on which nothing waits reads as one that has ended
        if self._failure is None and self._is_readable():
            self._look()
        return self._handed_out()

    def close(self) -> None:
        """End a wait and leave the event loop; call it before the descriptor is closed."""
        self._end(OSError("it was closed here"))
        anyio.notify_closing(self._descriptor)

    def _handed_out(self) -> bytes:
        data, self._came = self._came, b""
        if not data and self._failure is not None:
            raise self._failure
        return data

    async def _wait(self, timeout_s: float) -> None:
        """Wait until something has come, the line has ended, or the time is over."""
        loop = asyncio.get_running_loop()
        if self._loop is not loop:
            try:
                loop.add_reader(self._descriptor, self._look)
            except NotImplementedError:  # the usual event loop of Windows
                await self._wait_by_thread(timeout_s)
                return
            self._loop = loop
        self._waiter = loop.create_future()
        timer = None if timeout_s == inf else loop.call_later(timeout_s, self._wake)
        try:
            await self._waiter
        finally:
            self._waiter = None
            if timer is not None:
                timer.cancel()

    async def _wait_by_thread(self, timeout_s: float) -> None:
        """Wait as long for bytes by a thread of anyio's, where the event loop cannot."""
        with anyio.move_on_after(timeout_s), suppress(anyio.ClosedResourceError):
            await anyio.wait_readable(self._descriptor)
            self._look()

    def _look(self) -> None:
        """Take what is there."""
        try:
            data = self._take()
            if not data:
                data = self._taken_again()
        except BlockingIOError:
            return
        except OSError as problem:
            self._end(problem)
            return
        self._came += data
        if len(self._came) > _MOST_KEPT:
            self._leave_loop()
        self._wake()

    def _taken_again(self) -> bytes:
        """The bytes that are there after none were; raises BlockingIOError where none are.

        The event loop calls for bytes that it saw, though `here` may have taken them meanwhile: a
        line has ended only where the system says that it can be read and nothing comes.
        """
        if not self._is_readable():
            raise BlockingIOError
        if not (data := self._take()):
            raise ConnectionError("the other side has closed it")
        return data

    def _is_readable(self) -> bool:
        return bool(select.select([self._descriptor], [], [], 0)[0])

    def _end(self, why: OSError) -> None:
        self._failure = self._failure or why
        self._leave_loop()
        self._wake()

    def _leave_loop(self) -> None:
        loop, self._loop = self._loop, None
        if loop is not None and not loop.is_closed():
            loop.remove_reader(self._descriptor)

    def _wake(self) -> None:
        if self._waiter is not None and not self._waiter.done():
            self._waiter.set_result(None)
