"""The machine's own time, with the time that the machine slept counted or told apart.

Needs the standard library alone, since the guard imports it.
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
    """Seconds since an arbitrary start; time asleep counts wherever the system can tell."""
    return time.monotonic() if _WITH_SLEEP is None else time.clock_gettime(_WITH_SLEEP)


def asleep_s() -> float:
    """Seconds that the machine has slept, plus a constant.

    On a system that cannot tell it comes from the date, where setting the date looks like a sleep.
    """
    if _WITH_SLEEP is None and sys.platform != "win32":
        return time.time() - time.monotonic()
    return elapsed_s() - time.monotonic()
