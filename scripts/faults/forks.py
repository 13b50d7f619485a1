"""Children forked off a run in its middle: each meets one fault, the parent goes on untouched.

The head of a run is paid for once, whatever the number of faults tried in it, and each child is the
real program in the real state of that moment.
"""

from __future__ import annotations

import asyncio
import gc
import json
import os
import signal
from collections.abc import Callable
from typing import Any

from ohmwright.engine import release

_WALL_BOUND_S = 600
"""For a child that hangs without its virtual clock: long, for machines that are busy."""


class Forks:
    """At most `jobs` children at a time; `take` gets what each reported."""

    def __init__(self, jobs: int, take: Callable[[dict[str, Any]], None]) -> None:
        self._jobs, self._take = jobs, take
        self._live: dict[int, str] = {}
        self._read, self._write = os.pipe()
        os.set_blocking(self._read, False)
        self._rest = b""
        # the parent stands in the middle of a release while its children work
        release.RELEASE_BOUND_S = 3600.0
        # a collection would touch, and so copy, the pages that a child shares with its parent
        gc.collect()
        gc.freeze()
        self.child: str | None = None
        """The fault this process meets; None in the parent."""

    def fork(self, fault: str) -> bool:
        """Whether this is the child that shall meet `fault`."""
        if len(self._live) >= self._jobs:
            self._reap()
        loop = asyncio.get_running_loop()
        pid = os.fork()
        if pid:
            self._live[pid] = fault
            return False
        # a forked process has no running loop by Python's reckoning, though it stands in its midst
        asyncio._set_running_loop(loop)
        gc.disable()
        signal.alarm(_WALL_BOUND_S)
        self.child = fault
        return True

    def report(self, outcome: dict[str, Any]) -> None:
        """End this child."""
        os.write(self._write, json.dumps({"fault": self.child, **outcome}).encode() + b"\n")
        os._exit(0)

    def finish(self) -> None:
        """Wait for every child."""
        while self._live:
            self._reap()
        os.close(self._read)
        os.close(self._write)

    def _reap(self) -> None:
        pid, status = os.wait()
        fault = self._live.pop(pid)
        self._drain()
        if status:
            timed_out = os.WIFSIGNALED(status) and os.WTERMSIG(status) == signal.SIGALRM
            why = "took too long" if timed_out else f"ended with status {status}"
            self._take({"fault": fault, "hang": True, "how": why})

    def _drain(self) -> None:
        try:
            while data := os.read(self._read, 1 << 16):
                self._rest += data
        except BlockingIOError:
            pass
        *lines, self._rest = self._rest.split(b"\n")
        for line in lines:
            self._take(json.loads(line))
