"""A sweep that is carried out and kept: each point is on record before the next is measured."""

from __future__ import annotations

from collections.abc import AsyncGenerator
from contextlib import aclosing
from dataclasses import dataclass, field, replace
from typing import Protocol

from ohmwright.engine.job import Job
from ohmwright.instruments.bench import Bench as Instruments
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import LinkError, Stopped
from ohmwright.model.event import Event, Fault, PointDone, RunFinished
from ohmwright.records.sql_store import SqlStore
from ohmwright.wire.clock import RealClock

from .curve import Curve, CurvePoint
from .recorded_curve import curve_of, curve_point
from .recorded_events import RunView, recorded_events
from .sweep_plan import Sweep

_PAUSES_S = (1.0, 5.0, 20.0)
"""How long a lost line is left alone before it is opened anew; so often without a new point."""
_TIME = RealClock()


class Reopenable(Protocol):
    """An open bench whose lines can be opened anew."""

    instruments: Instruments

    async def reopen(self) -> None:
        """Close every line and open it again. Raises LinkError."""


@dataclass
class SweepRun:
    """One sweep on a bench, with the events of its record so far."""

    bench: Reopenable
    plan: Sweep
    job: Job
    store: SqlStore
    view: RunView
    events: list[Event] = field(init=False)

    def __post_init__(self) -> None:
        self.events = list(self.job.earlier)

    @property
    def run_id(self) -> str:
        """The number of the run on record."""
        return self.job.run_id

    def curve(self) -> Curve:
        """Return the curve of the points so far. Raises UsageError where there is none."""
        return curve_of(self.events)

    def on_event(self, event: Event) -> None:
        """Keep an event, which is stored already, and show it."""
        self.events.append(event)
        self.view.on_event(event)

    def on_status(self, moment: BenchStatus) -> None:
        """Show the latest status."""
        self.view.on_status(moment)

    async def points(self) -> AsyncGenerator[CurvePoint, None]:
        """Measure what has no result yet and yield each point once it is on record.

        Where the plan says to go on, a line that fails is opened anew, three times at most without
        a new point. Raises Stopped where a person ends it, and what `recorded_events` raises.
        """
        failures = 0
        while True:
            try:
                async with aclosing(self._part()) as points:
                    async for point in points:
                        failures = 0
                        yield point
                break
            except LinkError:
                if self.plan.on_fault == "stop" or failures == len(_PAUSES_S):
                    raise
                await self._reopen(_PAUSES_S[failures])
                failures += 1
        last = self.events[-1]
        if isinstance(last, Fault):
            raise Stopped(
                last.message, f"Points on record: {self.done}.", f"Go on with run {self.run_id}."
            )

    @property
    def finished(self) -> bool:
        """Whether every point has a result."""
        return bool(self.events) and isinstance(self.events[-1], RunFinished)

    @property
    def done(self) -> int:
        """The number of points that have a result."""
        return sum(isinstance(event, PointDone) for event in self.events)

    async def _part(self) -> AsyncGenerator[CurvePoint, None]:
        """Go on from the events so far; yield each new point."""
        job = replace(self.job, earlier=tuple(self.events))
        events = recorded_events(job, self.bench.instruments, self.store, self)
        async with aclosing(events):
            async for event in events:
                if isinstance(event, PointDone):
                    yield curve_point(event)

    async def _reopen(self, pause_s: float) -> None:
        is_off = self.bench.instruments.rf.off_after_warning
        await _TIME.sleep(pause_s)
        await self.bench.reopen()
        # new lines know nothing of a warning, after which RF comes on only once a person agrees
        self.bench.instruments.rf.off_after_warning = is_off
