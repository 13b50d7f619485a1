"""Records that cannot be kept: the store is full, locked or gone at the Nth event."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from ohmwright.cli.run_and_record import run_and_record
from ohmwright.engine.job import Job
from ohmwright.engine.run import run
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import RecordError
from ohmwright.model.event import Event, PointDone, RunFinished
from ohmwright.model.step import STAGES
from ohmwright.records.store import Store

from .rig import Case, _procedure, made
from .row import Row
from .tally import Tally

KINDS = {
    "full": "database or disk is full",
    "locked": "database is locked",
    "gone": "unable to open database file",
}


@dataclass
class FailingStore(Store):
    """Keeps events until number `at`, which it refuses."""

    at: int
    says: str
    before_raising: Callable[[], None] = lambda: None
    kept: list[Event] = field(default_factory=list)

    def append(self, run_id: str, event: Event) -> None:
        """Keep, or raise RecordError."""
        if len(self.kept) + 1 >= self.at:
            self.before_raising()
            raise RecordError(f"{run_id}: the record cannot be written: {self.says}.")
        self.kept.append(event)

    def events(self, run_id: str) -> tuple[Event, ...]:  # noqa: ARG002
        """All kept."""
        return tuple(self.kept)

    def run_ids(self) -> tuple[str, ...]:
        """The one run."""
        return ("faults",)

    def voided_run_ids(self) -> frozenset[str]:
        """None."""
        return frozenset()

    def place(self, run_id: str) -> str:  # noqa: ARG002
        """Nowhere."""
        return "memory"


class Silent:
    """A view of nothing."""

    def on_event(self, event: Event) -> None:
        """Nothing."""

    def on_status(self, moment: BenchStatus) -> None:
        """Nothing."""


def rows(seed: int, reduced: bool) -> Iterator[Row]:
    """Each kind at each event of the short run; each time the run is resumed to its end."""
    case = Case("short", seed)
    store = FailingStore(10**6, "")
    rig = made(case)
    asyncio.run(
        run_and_record(Job(_procedure("short"), STAGES, "faults"), rig.bench, store, Silent())
    )
    events = len(store.kept)
    for kind, says in KINDS.items():
        tally = Tally(f"records {kind}", "python scripts/faults --only records  #")
        for at in range(1, events + 1, 29 if reduced else 1):
            tally.take({"fault": f"{kind}:{at}", **_trial(case, at, says)})
        yield tally.row()


def _trial(case: Case, at: int, says: str) -> dict[str, Any]:
    rig = made(case)
    seen_on: list[bool] = []
    store = FailingStore(at, says, lambda: seen_on.append(rig.hardware.truth.rf_on))
    job = Job(_procedure(case.name), STAGES, "faults")
    error: Exception | None = None
    try:
        asyncio.run(run_and_record(job, rig.bench, store, Silent()))
    except Exception as problem:
        error = problem
    clear = isinstance(error, RecordError) and says in str(error)
    left_on = rig.hardware.truth.rf_on or any(seen_on)
    resumed = _resumed(case, tuple(store.kept))
    twice = _results_twice(resumed)
    return {
        "left_on": left_on,
        "undetected": not clear or not isinstance(resumed[-1], RunFinished) or twice,
        "how": f"{error!r}" if not clear else "a point was measured twice" if twice else "",
        "error": "clear error, then resumed",
    }


def _resumed(case: Case, kept: tuple[Event, ...]) -> list[Event]:
    """The run gone on with on the bench as found."""

    async def work() -> list[Event]:
        job = Job(_procedure(case.name), STAGES, "faults", kept)
        return [*kept, *[event async for event in run(job, made(case).bench)]]

    return asyncio.run(work())


def _results_twice(events: list[Event]) -> bool:
    names = [
        (e.result.stage, e.result.step, e.result.point) for e in events if isinstance(e, PointDone)
    ]
    return len(names) != len(set(names))
