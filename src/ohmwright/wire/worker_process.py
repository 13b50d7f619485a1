"""A process that works for another one: it leaves Ctrl-C to it, and ends when it does."""

from __future__ import annotations

import signal
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing import parent_process
from multiprocessing.connection import wait
from os import _exit
from threading import Thread


@contextmanager
def ctrl_c_held_back() -> Iterator[None]:
    """Have Ctrl-C wait until the block ends, also for processes that are started within.

    A worker hears it until `begin_worker`, which comes after some seconds of imports: it would
    print a traceback. What is held back here comes when the block ends. Windows cannot do so.
    """
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def begin_worker() -> None:
    """Begin this process as a worker of the one that started it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        wait([parent.sentinel])
        _exit(1)
