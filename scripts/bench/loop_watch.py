"""How late an event loop is, and how long one of its callbacks takes of the processor.

How late it is depends on what else the machine does, and on other threads of this process; the time
that a callback takes of the processor does not, so that it tells whether the server's own code
holds up a STOP.
"""

from __future__ import annotations

import asyncio
import threading
from time import thread_time
from timeit import default_timer

import anyio


class LoopWatch:
    """Watches the loop of the thread in which `watch` is awaited."""

    def __init__(self) -> None:
        self.lags_s: list[float] = []
        """How late the loop was, every 10 ms."""
        self.longest_s = 0.0
        """The most that one callback has taken of the processor."""

    async def watch(self) -> None:
        """Note how late the loop is, for ever."""
        self._note_callbacks(threading.get_ident())
        while True:
            begun = default_timer()
            await anyio.sleep(0.01)
            self.lags_s.append(default_timer() - begun - 0.01)

    def begin_anew(self) -> None:
        """Forget what was seen so far."""
        self.longest_s = 0.0
        self.lags_s.clear()

    def _note_callbacks(self, thread: int) -> None:
        run = asyncio.Handle._run

        def noted(handle: asyncio.Handle) -> None:
            if threading.get_ident() != thread:
                run(handle)
                return
            begun_s = thread_time()
            run(handle)
            self.longest_s = max(self.longest_s, thread_time() - begun_s)

        asyncio.Handle._run = noted  # type: ignore[assignment, method-assign]
