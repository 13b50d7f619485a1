"""One bench as the page knows it: its run, which goes on whether or not a browser is there."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from contextlib import aclosing
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

import anyio
from anyio.abc import TaskGroup

from ohmwright.api.bench_data import BenchData
from ohmwright.api.bench_generators import models_of
from ohmwright.api.jobs import claimed_events, new_job
from ohmwright.api.recorded_events import recorded_events
from ohmwright.api.run_picture import RunPicture
from ohmwright.api.run_plan import planned_points
from ohmwright.api.run_view import TREND_READINGS, RunWatch, watch_of
from ohmwright.api.unit_on_bench import UnitOnBench
from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import ProcedureFile, measured_once
from ohmwright.instruments.bench import Bench
from ohmwright.model import rf_state
from ohmwright.model.assignment import PROGRAM, Assignment
from ohmwright.model.bench_file import Asset
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import OhmwrightError, UsageError
from ohmwright.model.event import Commented, Event
from ohmwright.model.traceability import RoomFigures
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.store import Store
from ohmwright.wire.clock import Clock

from .benches import BenchSource
from .beside import beside, kept_beside, opened_records
from .lease import Lease
from .off_reading import OffReading
from .operator import PageOperator
from .orders import STAGES_OF, Begin, KeyPress, Turn, Words
from .practice import PRACTICE, NothingKept

_SERVER_ENDED = "the server of the page was ended"
DeskState = Literal["idle", "opening", "going on", "stopping", "ended"]
Explain = Callable[[BaseException], OhmwrightError]
"""Turns what ended a run into an error for a person; a crash is written to its log file."""


@dataclass(frozen=True)
class PlottedReading:
    """One reading for the live plot; `number` counts the readings of a run."""

    number: int
    bench_s: float
    current_ma: float


class Desk:
    """A bench, the run on it, the person who answers, and which screen commands."""

    def __init__(
        self,
        number: int,
        source: BenchSource,
        records: str | None,
        lease: Lease,
        real: Clock,
        explain: Explain,
    ) -> None:
        self.number, self.source, self.lease = number, source, lease
        self.data: BenchData = source.read()
        self.own_unit: Asset | None = self.data.file.asset
        """The unit of the bench file, which a run is of that is told no tag."""
        self.models = models_of(self.data)
        self._subject = UnitOnBench(self.data, None)
        self._answering_screen = 0
        self._records, self._real, self._explain = records, real, explain
        self.state: DeskState = "idle"
        self.error: OhmwrightError | None = None
        self.run_id = ""
        """Of the run that goes on, or was the last."""
        self.changes = 0
        """Counts what happened, so that whoever shows the desk knows whether to draw again."""
        self.runs = 0
        """Counts the runs, so that readings of one are not taken for another's."""
        self.readings: deque[PlottedReading] = deque(maxlen=TREND_READINGS)
        self._rf = rf_state.BenchMemory()
        self._has_ended = False
        self._begin_watch(RunWatch())

    def _begin_watch(self, watch: RunWatch, operator: str = "") -> None:
        """`operator`: who is at the bench, as they gave their name; empty: the account."""
        self.watch = watch
        self.operator = PageOperator(watch, self._real, operator, lambda: self.now_s)
        self.clock: Clock | None = None
        self._scope = anyio.CancelScope()
        self._why_stopped = _stopped_by(_SERVER_ENDED)
        self._notes = PendingEvents()
        self._count = 0
        self.off_reading = OffReading()
        self.runs += 1
        self.readings.clear()

    @property
    def is_busy(self) -> bool:
        """Whether a run is being opened, goes on or is being stopped."""
        return self.state in ("opening", "going on", "stopping")

    @property
    def unit(self) -> Asset | None:
        """The unit of the run that goes on, or was the last; before any that of the file."""
        return self.data.file.asset

    @property
    def may_show_serial(self) -> bool:
        """Whether the unit's serial number may be shown."""
        return self.watch.may_show_serial(self._subject.registered)

    @property
    def now_s(self) -> float:
        """The time of the bench's clock; 0 before it was opened."""
        return 0.0 if self.clock is None else self.clock.now_s()

    @property
    def is_practice(self) -> bool:
        """Whether its unit is worked on the page."""
        return self.source.is_practice

    def picture(self) -> RunPicture:
        """Return the run as it is now; its readings are in `readings`."""
        return self.watch.picture_without_trend(self.now_s)

    def begin(
        self,
        order: Begin,
        file: ProcedureFile,
        subject: UnitOnBench,
        tasks: TaskGroup,
        screen: int,
    ) -> None:
        """Begin a run in a task of its own; `subject`: the bench as its file is now, and its unit.

        `screen`: which one begins it. Raises UsageError where a run goes on.
        """
        if self.is_busy:
            raise UsageError("A run goes on at this bench.", do="Wait for its end, or stop it.")
        if self._has_ended:
            raise UsageError("The server of the page ends.", do="Begin it anew, and load the page.")
        if "adjust" not in STAGES_OF[order.work]:
            file = measured_once(file)
        self.data, self._subject = _in_room(subject.bench, order), subject
        plan = planned_points(
            file.procedure, STAGES_OF[order.work], by_hand=self.data.generator_verbs is None
        )
        self._begin_watch(RunWatch(plan), order.operator)
        self._answering_screen = screen
        self.state, self.error, self.run_id = "opening", None, ""
        self._changed()
        tasks.start_soon(self._run, order, file)

    def stop(self, screen: int | None) -> bool:
        """Stop the run with RF off; False where none goes on. `screen`: None where not known."""
        which = "a screen" if screen is None else f"screen {screen}"
        return self._stop(f"STOP was pressed on {which}")

    def end(self) -> None:
        """Stop the run, and begin no other: the server of the page ends."""
        self._has_ended = True
        self._stop(_SERVER_ENDED)

    def _stop(self, why: str) -> bool:
        if not self.is_busy:
            return False
        if self.state != "stopping":
            self._why_stopped = _stopped_by(why)
        self.state = "stopping"
        self._changed()
        self._scope.cancel()
        return True

    def say(self, said: Words, screen: int) -> None:
        """Answer the open request on `screen`. Raises UsageError where it is not open."""
        self.operator.say(said.number, said.words)
        if screen != self._answering_screen:
            self._note_other_screen(screen, said.operator)
        self._changed()

    def _note_other_screen(self, screen: int, name: str) -> None:
        """Put on record that another screen answers, whose answers bear `name`."""
        before, self._answering_screen = self._answering_screen, screen
        self.operator.name = name or f"whoever is at screen {screen}"
        if self.clock is not None:
            who = f"as {name}, as told" if name else "by whom was not told"
            words = f"from here on screen {screen} answers, and no more screen {before}, {who}"
            at, bench_s = self.clock.wall(), round(self.clock.now_s(), 6)
            self._notes.add(Commented(at=at, bench_s=bench_s, words=words, told_by=PROGRAM))

    def press(self, press: KeyPress) -> None:
        """Press a key of a practice unit. Raises UsageError."""
        self.source.press(press)
        self._changed()

    def turn(self, turn: Turn) -> None:
        """Work another control of a practice unit. Raises UsageError."""
        self.source.turn(turn)
        self._changed()

    def on_event(self, event: Event) -> None:
        """Take an event, which is stored already."""
        self.watch.on_event(event)
        self._changed()

    def on_status(self, moment: BenchStatus) -> None:
        """Take the latest status; returns at once."""
        before = self.watch.moment
        self.watch.on_status(moment)
        self.off_reading.note(moment, self._real.wall())
        is_new = before is None or before.bench_s != moment.bench_s
        if moment.rf == "on" and moment.current_ma is not None and is_new:
            self._count += 1
            self.readings.append(PlottedReading(self._count, moment.bench_s, moment.current_ma))
        self._changed()

    def _changed(self) -> None:
        self.changes += 1

    async def _run(self, order: Begin, file: ProcedureFile) -> None:
        """Run and record; whatever ends it is kept for the page, RF off or said not to be."""
        rf_state.at_bench(self._rf)
        try:
            with self._scope:
                await self._recorded(order, file)
        except Exception as problem:
            self._fail(problem)
        finally:
            self.state = "ended"
            self._changed()
        if self.is_practice and self.error is None and self.watch.has_finished:
            await self.source.finished(self.data, _practice_job(order, file))
            self._changed()

    async def _recorded(self, order: Begin, file: ProcedureFile) -> None:
        if self.is_practice:
            await self._on_bench(order, _practice_job(order, file), NothingKept())
            return
        async with opened_records(self._records, existing=order.resume is not None) as store:
            job = await beside(partial(self._job, order, file, store))
            if job.earlier:
                by_hand = self.data.generator_verbs is None
                self._begin_resumed(watch_of(job, by_hand=by_hand), order.operator)
            self.run_id = job.run_id
            await self._on_bench(order, job, store)

    async def _on_bench(self, order: Begin, job: Job, store: Store) -> None:
        opened = self.source.opened(
            self.data.gone_on_with(job.earlier), self.operator, unattended=order.unattended
        )
        async with opened as bench:
            try:
                await self._work(job, bench, store)
            except Exception as problem:  # told now: to close a bench may take a while
                self._fail(problem)

    def _job(self, order: Begin, file: ProcedureFile, store: SqlStore) -> Job:
        earlier: tuple[Event, ...] = ()
        if order.resume is not None:
            earlier = claimed_events(store, order.resume, self.operator.name)
        return new_job(
            file,
            self.data,
            store,
            stages=STAGES_OF[order.work],
            earlier=earlier,
            accept_expired=order.accept_expired,
            assignment=self._subject.assigned(Assignment(work_order=order.work_order)),
        )

    def _begin_resumed(self, watch: RunWatch, operator: str) -> None:
        scope = self._scope
        self._begin_watch(watch, operator)
        self._scope = scope

    async def _work(self, job: Job, bench: Bench, store: Store) -> None:
        self.clock, self.state = bench.clock, "going on"
        self._changed()
        recorded = recorded_events(
            job, bench, store, self, self._notes, kept_beside, lambda: self._why_stopped
        )
        async with aclosing(recorded) as events:
            async for _ in events:
                pass

    def _fail(self, problem: Exception) -> None:
        if self.error is None:
            self.error = self._explain(problem)
        self._changed()


def _stopped_by(what: str) -> str:
    """Return why a run was cut short, for the record."""
    return f"The run was stopped before its end: {what}."


def _practice_job(order: Begin, file: ProcedureFile) -> Job:
    return Job(file, STAGES_OF[order.work], PRACTICE)


def _in_room(data: BenchData, order: Begin) -> BenchData:
    """Return `data` with the room's conditions that were given; others stay as in the file."""
    given = {
        key: value
        for key in ("temperature_c", "humidity_percent")
        if (value := getattr(order, key)) is not None
    }
    return replace(data, room=RoomFigures(**given))
