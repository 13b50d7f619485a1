"""Descriptors that a forked process must not keep: it closes its copies at once.

By a copy of the engine's end its guard would not see that the engine ended, and by one of a lock
file a port would stay locked by a process that is gone.
"""

from __future__ import annotations

import os
from typing import Protocol
from weakref import WeakSet


class Closable(Protocol):
    """What has descriptors of this process."""

    def close(self) -> object:
        """Close them, and nothing else: another process may have them open."""


_held: WeakSet[Closable] = WeakSet()


def keep_from_forks(one: Closable) -> None:
    """Have each fork of this process close its copy of `one` as it begins."""
    _held.add(one)


def _close_copies() -> None:
    for one in tuple(_held):
        one.close()


if hasattr(os, "register_at_fork"):  # not on Windows, where nothing forks
    os.register_at_fork(after_in_child=_close_copies)
