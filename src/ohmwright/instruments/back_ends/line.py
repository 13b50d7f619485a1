"""The line that a back end is given: bytes out and in, from plain functions in a thread."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Callable, Coroutine
from typing import Any, TypeVar

import anyio

from ohmwright.model.errors import LinkLost, LinkTimeout, ProtocolError
from ohmwright.wire.clock import Clock
from ohmwright.wire.link import Link

T = TypeVar("T")
_LONGEST_REPLY = 1 << 22
"""Bytes; what goes on beyond them is no reply."""
_QUIET_S = 0.15
"""Silence after which a line counts as drained."""
_DRAINED_AT_MOST = 200
"""Times that a line is read to drain it: one that never falls silent must not hold up OFF."""


class InstrumentLine:
    """Bytes to and from the instrument, for the one method of a back end that is called now.

    A method that was given up can no longer use it. `timeout_s`: how long a reply may take where
    the method does not say; shorter than the method itself, so that silence is told as silence.
    """

    def __init__(self, link: Link, clock: Clock, timeout_s: float) -> None:
        self.name = link.name
        self._link, self._clock, self._timeout_s = link, clock, timeout_s
        self._loop = asyncio.get_running_loop()
        self._user: threading.Thread | None = None
        self._task: asyncio.Task[Any] | None = None
        self._left = b""
        self._suspect = True
        self.check_guard = link.check_guard
        self.awaited = ""
        """What a method waits for now; empty where it waits for nothing of the instrument."""

    def write(self, data: bytes) -> None:
        """Send all of `data`. Raises LinkTimeout, LinkLost."""
        self._await(self._link.write(bytes(data)))

    def read_until(self, end: bytes, timeout_s: float | None = None) -> bytes:
        """Return the bytes before `end`, which is taken off. Raises LinkTimeout, LinkLost."""
        length = self._wait(lambda left: left.find(end) if end in left else None, timeout_s)
        return self._take(length, len(end))

    def read_exactly(self, count: int, timeout_s: float | None = None) -> bytes:
        """Return the next `count` bytes. Raises LinkTimeout, LinkLost."""
        self._wait(lambda left: count if len(left) >= count else None, timeout_s)
        return self._take(count, 0)

    def ask(self, message: bytes, end: bytes, timeout_s: float | None = None) -> bytes:
        """Send `message` and return the reply before `end`.

        Raises ProtocolError where bytes that nobody asked for came after an earlier reply.
        """
        if self._left:
            raise ProtocolError(
                f"{self.name} has sent {self._left[:80]!r}, which nobody had asked for.",
                "The next reply might belong to another question; no value was taken.",
                "Check the back end against the instrument's manual, and the cabling.",
            )
        self.write(message)
        return self.read_until(end, timeout_s)

    def pause(self, seconds: float) -> None:
        """Wait, by the bench's clock."""
        self._await(self._clock.sleep(seconds))

    def hand_to(self, user: threading.Thread) -> None:
        """Let the thread `user` use the line, and no other."""
        self._user, self.awaited = user, ""

    def suspect(self) -> None:
        """Have what is on the line thrown away before anything else is asked."""
        self._suspect = True

    def in_step(self) -> None:
        """Believe the next reply, for the last one came whole."""
        self._suspect = False

    async def take_back(self) -> None:
        """Take the line from a method that was given up; nobody reads from it any more."""
        self._user, self._suspect = None, True
        task, self._task = self._task, None
        if task is not None:
            task.cancel()
            with anyio.CancelScope(shield=True):
                await asyncio.wait([task])

    async def settle(self) -> bytes:
        """Drain a line that is suspect, until it has been quiet for a while; what was on it.

        One on which something waits that nobody had asked for is suspect.
        """
        waited = self._link.waiting()
        if not (self._suspect or self._left or waited):
            return b""
        drained, self._left = self._left + waited, b""
        for _ in range(_DRAINED_AT_MOST):
            try:
                drained += await self._link.read(_QUIET_S)
            except LinkTimeout:
                break
        self._suspect = False
        return drained

    def _wait(self, whole: Callable[[bytes], int | None], timeout_s: float | None) -> int:
        """The length that `whole` finds in what has come, once it does."""
        within_s = self._timeout_s if timeout_s is None else timeout_s
        end_s = self._clock.now_s() + within_s
        self.awaited = f"a reply of {self.name}, of which {self._left[:80]!r} came"
        while (length := whole(self._left)) is None:
            left_s = end_s - self._clock.now_s()
            is_too_long = len(self._left) > _LONGEST_REPLY
            if left_s <= 0 or is_too_long:
                self.awaited = ""
                where = f"in {len(self._left)} bytes" if is_too_long else f"within {within_s:g} s"
                raise LinkTimeout(
                    f"{self.name} sent no whole reply {where}: {self._left[:80]!r} came.",
                    "No value was taken from it.",
                    "Check power, cable, port and address, then the message in the back end.",
                    received=self._left,
                )
            self._left += self._await(self._read(left_s))
        self.awaited = ""
        return length

    async def _read(self, timeout_s: float) -> bytes:
        try:
            return await self._link.read(timeout_s)
        except LinkTimeout:
            return b""

    def _take(self, length: int, dropped: int) -> bytes:
        reply, self._left = self._left[:length], self._left[length + dropped :]
        return reply

    def _await(self, work: Coroutine[Any, Any, T]) -> T:
        if threading.current_thread() is not self._user:
            work.close()
            raise LinkLost(f"{self.name}: this call was given up; the line is no longer its own.")
        return asyncio.run_coroutine_threadsafe(self._tracked(work), self._loop).result()

    async def _tracked(self, work: Coroutine[Any, Any, T]) -> T:
        self._task = asyncio.current_task()
        try:
            return await work
        finally:
            self._task = None
