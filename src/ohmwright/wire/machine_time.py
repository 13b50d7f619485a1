"""The machine's own time, by what a sleep of the machine does to it.

Standard library alone, since the guard needs it at once.
"""

from __future__ import annotations

import sys
import time

# Linux's monotonic clock stands still while the machine sleeps, and so does what Python takes for
# one on macOS; Windows's goes on (from memory)
_WITH_SLEEP: int | None = getattr(time, "CLOCK_BOOTTIME", None)
if sys.platform == "darwin":
    _WITH_SLEEP = time.CLOCK_MONOTONIC


def elapsed_s() -> float:
    """Seconds since an arbitrary start; a sleep counts wherever the system can tell."""
    return time.monotonic() if _WITH_SLEEP is None else time.clock_gettime(_WITH_SLEEP)


def asleep_s() -> float:
    """Seconds that the machine has slept, plus a constant.

    A system that cannot tell has the date instead, where setting the date looks like a sleep.
    """
    if _WITH_SLEEP is None and sys.platform != "win32":
        return time.time() - time.monotonic()
    return elapsed_s() - time.monotonic()
