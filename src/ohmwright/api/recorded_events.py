"""Run a job on a bench: each event is stored, then handed out; whoever stops it gets RF off."""

from __future__ import annotations

from collections.abc import AsyncGenerator, Awaitable, Callable
from contextlib import aclosing, suppress
from functools import partial
from typing import Protocol

from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.run import fault_event, run
from ohmwright.engine.unasked_rf import ensure_off_after
from ohmwright.engine.uncancellable import uncancellable
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import Stopped
from ohmwright.model.event import Event
from ohmwright.records.store import Store


class RunView(Protocol):
    """What shows a run while it goes on."""

    def on_event(self, event: Event) -> None:
        """Show an event, which is stored already."""

    def on_status(self, moment: BenchStatus) -> None:
        """Take the latest RF state, current and ages of the bench; must return at once."""


Keep = Callable[[Store, str, Event], Awaitable[None]]
"""Stores an event as the next of a run; it is on disk when that returns, cancelled or not."""


async def kept_here(store: Store, run_id: str, event: Event) -> None:
    """Store an event; nothing else of this program goes on meanwhile."""
    store.append(run_id, event)


_FAILED = "The program that showed the run failed"


def _stopped() -> str:
    return "The run was stopped before its end."


async def recorded_events(
    job: Job,
    bench: Bench,
    store: Store,
    view: RunView,
    notes: PendingEvents | None = None,
    keep: Keep = kept_here,
    why_stopped: Callable[[], str] = _stopped,
) -> AsyncGenerator[Event, None]:
    """Run `job` and yield each of its events once it is stored and `view` has shown it.

    Where the caller is cancelled or closes the generator, `view` fails, or code within the run
    ends the program, the output is switched off and a `Fault` is stored and shown, so that the run
    can be resumed. `notes` collects what happens while RF is on, which is stored once RF is off;
    `keep` stores; `why_stopped` returns why the caller was cancelled. Raises OhmwrightError; a
    release that could not be confirmed is ReleaseNotConfirmed.
    """
    notes = PendingEvents() if notes is None else notes
    failed: BaseException | None = None

    async def keep_stop(why: str) -> None:
        stopped = Stopped(why)
        ended_by = await ensure_off_after(stopped, bench, notes, view.on_status)
        for event in (*notes.take(), fault_event(ended_by, bench, notes)):
            await keep(store, job.run_id, event)
            with suppress(BaseException):  # the stop is on record, whoever fails to show it
                view.on_event(event)
        if ended_by is not stopped:
            raise ended_by

    try:
        async with aclosing(run(job, bench, view.on_status, notes)) as events:
            async for event in events:
                await keep(store, job.run_id, event)
                try:
                    view.on_event(event)
                except BaseException as problem:  # as of a program that ends itself there
                    failed = problem
                    break
                yield event
    except Exception:
        raise  # a fault of the run is on record already
    except BaseException:  # cancelled, closed, or code within the run ends the program
        await uncancellable(partial(keep_stop, why_stopped()))
        raise
    if failed is not None:
        await uncancellable(partial(keep_stop, f"{_FAILED}: {type(failed).__name__}."))
        raise failed
