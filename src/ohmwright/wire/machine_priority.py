"""Before other programs of this machine: so that OFF does not wait for what else it computes."""

from __future__ import annotations

import os
import sys
from contextlib import suppress

_NICE = -10
"""Share of the processor beside a program of the usual priority: about nine to one."""


def run_before_others() -> None:
    """Have this thread, and what it starts, run before other programs, where the system lets it.

    It is tried once, and nothing depends on it: most systems allow it to whoever has the right
    alone. A priority that the program was started with otherwise than usual stays.
    """
    if sys.platform != "win32" and os.getpriority(os.PRIO_PROCESS, 0) == 0:
        with suppress(OSError):
            os.setpriority(os.PRIO_PROCESS, 0, _NICE)
