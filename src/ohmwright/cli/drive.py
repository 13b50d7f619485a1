"""One run from start to exit code: every event kept, then shown; signals end in OFF."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Iterator
from contextlib import aclosing, contextmanager
from typing import Protocol

import anyio

from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.release import off_after
from ohmwright.engine.run import Job, fault_of, run
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import Stopped
from ohmwright.model.event import Event
from ohmwright.model.result import Verdict
from ohmwright.records.store import Store

from .streams import hurry

EXIT_CODES: dict[Verdict, int] = {"pass": 0, "fail": 1, "undecided": 4, "not measured": 4}


class View(Protocol):
    """Whoever shows a run while it goes on."""

    def on_event(self, event: Event) -> None:
        """Show what happened."""

    def on_status(self, moment: BenchStatus) -> None:
        """Show how RF stands; must return at once."""


async def drive(
    job: Job, bench: Bench, store: Store, view: View, notes: PendingEvents | None = None
) -> tuple[Event, ...]:
    """Run `job`; return its events, the earlier ones included.

    A stop asked for by a signal ends in OFF and in a record that can be resumed, with all that
    had been done. `notes`: see `run`.
    """
    notes = PendingEvents() if notes is None else notes
    kept = list(job.earlier)

    def keep(event: Event) -> None:
        store.append(job.run_id, event)
        kept.append(event)
        view.on_event(event)

    with stopped_by_signals() as stop:
        async with aclosing(run(job, bench, view.on_status, notes)) as events:
            async for event in events:
                keep(event)
    if stop.cancelled_caught:
        stopped = Stopped("The run was stopped by hand.")
        ended_by = await off_after(stopped, bench, notes)
        for event in notes.take():
            keep(event)
        keep(fault_of(ended_by, bench, notes))
        if ended_by is not stopped:
            raise ended_by
    return tuple(kept)


@contextmanager
def stopped_by_signals() -> Iterator[anyio.CancelScope]:
    """Cancel the block on INT, TERM or HUP, where these were not ignored when we were started.

    The ones that follow change nothing, to the end of the program: they must not cut short the
    release that the first has begun, nor its saying how to go on.
    """
    loop = asyncio.get_running_loop()
    with anyio.CancelScope() as scope:

        def stop(*_: object) -> None:
            hurry()
            loop.call_soon_threadsafe(scope.cancel)

        before = {number: signal.signal(number, stop) for number in _LISTENED_TO}
        try:
            yield scope
        finally:
            for number, handler in before.items():
                signal.signal(number, signal.SIG_IGN if scope.cancel_called else handler)


def _signals() -> list[signal.Signals]:
    names = ("SIGINT", "SIGTERM", "SIGHUP")  # Windows has no SIGHUP
    known = (signal.Signals[name] for name in names if hasattr(signal, name))
    return [number for number in known if signal.getsignal(number) is not signal.SIG_IGN]


_LISTENED_TO = _signals()
"""As the program was started: under nohup a closed terminal stops nothing."""
