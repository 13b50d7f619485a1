"""Who may work with an open bench: one job at a time, until the block that opened it ends."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager

from ohmwright.model.errors import UsageError


class BenchUse:
    """Whether a bench is open, and whether a job works with it."""

    def __init__(self) -> None:
        self.is_open = False
        self._has_job = False
        self._process = os.getpid()

    @property
    def is_of_parent(self) -> bool:
        """Whether this process is a fork of the one that opened the bench."""
        return os.getpid() != self._process

    def refuse_closed(self) -> None:
        """Raise UsageError where the block that opened the bench has ended, or in a fork.

        A forked process has a copy of the bench without the thread that works it, and lines in
        common with the process that opened it: it would wait for ever, or speak in between.
        """
        if self.is_of_parent:
            raise UsageError(
                "This bench was opened by another process, of which this one is a fork.",
                "Nothing was switched on here; the bench is that process's.",
                "Open a bench within each process, or have the other one measure.",
            )
        if not self.is_open:
            raise UsageError(
                "This bench is closed: the block that opened it has ended.",
                "Nothing was switched on.",
                "Measure within the block, or open the bench anew.",
            )

    def refuse_unready(self) -> None:
        """Raise UsageError where the bench is closed, or another job has it.

        Of two that speak in turns each would take what the other switches for its own doing.
        """
        self.refuse_closed()
        if self._has_job:
            raise UsageError(
                "This bench works for another sweep or run, which has not ended.",
                "The new one was not begun; the other was left alone.",
                "Wait for the other to end. Close points that were left early "
                "('contextlib.aclosing' does it).",
            )

    @contextmanager
    def one_job(self) -> Iterator[None]:
        """Have the bench for a job until the block ends. Raises as `refuse_unready` does."""
        self.refuse_unready()
        self._has_job = True
        try:
            yield
        finally:
            self._has_job = False
