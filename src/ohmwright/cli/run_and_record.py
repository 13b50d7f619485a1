"""Run a job on a bench at the terminal: a signal ends it with RF off."""

from __future__ import annotations

from contextlib import aclosing

from ohmwright.api.recorded_events import RunView, recorded_events
from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.event import Event
from ohmwright.records.store import Store
from ohmwright.wire.machine_priority import run_before_others

from .signals import cancel_on_signal, why_stopped


class _KeepingView:
    """Keeps each event that is shown, after those of earlier parts of the run."""

    def __init__(self, view: RunView, earlier: tuple[Event, ...]) -> None:
        self._view, self.events = view, list(earlier)

    def on_event(self, event: Event) -> None:
        self.events.append(event)
        self._view.on_event(event)

    def on_status(self, moment: BenchStatus) -> None:
        self._view.on_status(moment)


async def run_and_record(
    job: Job, bench: Bench, store: Store, view: RunView, notes: PendingEvents | None = None
) -> tuple[Event, ...]:
    """Run `job` and return all events of its run, those of earlier parts first.

    INT, TERM and HUP stop it; see `recorded_events`. Raises OhmwrightError.
    """
    run_before_others()
    keeping = _KeepingView(view, job.earlier)
    with cancel_on_signal():
        happening = recorded_events(job, bench, store, keeping, notes, why_stopped=why_stopped)
        async with aclosing(happening) as events:
            async for _ in events:
                pass
    return tuple(keeping.events)
