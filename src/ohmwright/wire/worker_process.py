"""A process that works for another one: it leaves Ctrl-C to it, and ends when it does."""

from __future__ import annotations

import signal
from multiprocessing import parent_process
from multiprocessing.connection import wait
from os import _exit
from threading import Thread


def begin_worker() -> None:
    """Begin this process as a worker of the one that started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        _exit(1)
