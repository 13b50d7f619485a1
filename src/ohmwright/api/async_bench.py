"""An open bench for asynchronous programs: sweeps, and runs of procedures, kept on record."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import AsyncExitStack, aclosing, contextmanager, suppress
from os import PathLike
from pathlib import Path
from typing import Unpack

from ohmwright.instruments.bench import Bench as Instruments
from ohmwright.instruments.operator import Operator
from ohmwright.model.account import account_name
from ohmwright.model.assignment import NO_ASSIGNMENT, Assignment
from ohmwright.model.errors import OhmwrightError, UsageError
from ohmwright.model.event import Event
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.step import STAGES, known_stages
from ohmwright.records.sql_store import SqlStore

from .bench_data import BenchChoice, BenchData
from .bench_use import BenchUse
from .curve import Curve
from .curve_file import write_curve
from .given import refuse_no_operator, refuse_no_run, refuse_no_sweep, refuse_wrong_options
from .handed_out_points import CurvePoints, HandedOutPoints
from .job_options import (
    EventListener,
    ProcedureOptions,
    SweepOptions,
    ignore_event,
    out_path,
)
from .jobs import claimed_events, new_job
from .open_bench import open_bench as opened_instruments
from .open_records import open_existing_records, open_records, resolved_run_id
from .paths import RecordsAt, given_path
from .recorded_events import RunView, recorded_events
from .right_with import for_async_with
from .run_of_record import Run
from .stoppable_job import StoppableJob
from .sweep_plan import Sweep, recorded_sweep
from .sweep_run import SweepRun
from .unit_on_bench import UnitOnBench, procedure_of, unit_on_bench


class AsyncBench:
    """An open bench; `open_bench` makes one. A second job while one goes on is refused."""

    instruments: Instruments
    """Analyzer, generator, operator and clock, as the engine knows them."""

    def __init__(
        self,
        data: BenchData,
        operator: Operator | None,
        *,
        guarded: bool,
        operator_name: str = "",
        registered: RegisteredAsset | None = None,
        in_repair: bool = False,
        records: RecordsAt | None = None,
    ) -> None:
        """`registered`: the unit as the register of assets has it; `in_repair`: whether it may be
        one that is in repair; `records`: where runs are kept of which nothing else is said.
        """
        self.data, self._operator, self._guarded = data, operator, guarded
        self._operator_name, self._records = operator_name, records
        self._unit, self._in_repair = UnitOnBench(data, registered), in_repair
        self._open, self.use = AsyncExitStack(), BenchUse()
        self.handed_out, self._job = HandedOutPoints(), StoppableJob()

    async def reopen(self) -> None:
        """Close every line and open it again. Raises LinkError."""
        await self.close()
        unattended = self._operator is None and self.data.file.simulation is None
        self.instruments = await self._open.enter_async_context(
            opened_instruments(
                self.data,
                unattended=unattended,
                guarded=self._guarded,
                person=self._operator,
                operator_name=self._operator_name,
            )
        )
        self.use.is_open = True

    async def close(self) -> None:
        """Close every line."""
        self.use.is_open = False
        await self._open.aclose()

    async def end_jobs(self) -> None:
        """End what still goes on, with RF off and that on record, before the lines are closed."""
        await self._job.stop()
        await self.handed_out.end_all()

    @property
    def _by(self) -> str:
        """Who goes on with a run: the operator's name, else the account's."""
        name = self._operator_name if self._operator is None else self._operator.name
        return name or account_name()

    def _work(self, records: RecordsAt | None, run: str | None) -> Assignment:
        """What a run is done for, or goes on to be; the register must not contradict the unit."""
        if run is not None or self._unit.registered is not None:
            return self._unit.assigned()
        return unit_on_bench(self.data, None, records, in_repair=self._in_repair).assigned()

    async def measure(self, plan: Sweep, **options: Unpack[SweepOptions]) -> Curve:
        """Carry out a sweep and return its curve; see `points`."""
        refuse_no_sweep(plan)
        return await self._whole(plan, None, options)

    async def resume(self, run: str = "last", **options: Unpack[SweepOptions]) -> Curve:
        """Measure what a sweep on record lacks, and return the whole curve.

        `run`: its number, or "last". Raises UsageError where it is finished or no sweep.
        """
        refuse_no_run(run)
        return await self._whole(None, run, options)

    async def _whole(self, plan: Sweep | None, run: str | None, options: SweepOptions) -> Curve:
        with self._written_sweep(plan, run, options) as sweep, self._job.going_on():
            async with aclosing(sweep.points()) as points:
                async for _ in points:
                    pass
            return sweep.curve()

    def points(self, plan: Sweep, **options: Unpack[SweepOptions]) -> CurvePoints:
        """Carry out a sweep and yield each point, with RF off, once it is on record.

        What the bench cannot do and a path that cannot be written are refused before RF. Raises
        OhmwrightError; the points until then are kept, and `resume` measures the rest. Options:
        `ohmwright guide python`.
        """
        return self.handed_out.follow(self._points(plan, options))

    async def _points(self, plan: Sweep, options: SweepOptions) -> CurvePoints:
        refuse_no_sweep(plan)
        with self._written_sweep(plan, None, options) as sweep:
            async with aclosing(sweep.points()) as points:
                async for point in points:
                    yield point

    @contextmanager
    def _written_sweep(
        self, plan: Sweep | None, run: str | None, options: SweepOptions
    ) -> Iterator[SweepRun]:
        """Open a sweep; write its curve when the block ends, however it ends."""
        refuse_wrong_options(options, SweepOptions)
        out, records = out_path(options), options.get("records", self._records)
        opened = self.sweep(
            plan,
            run,
            EventListener(options.get("on_event", ignore_event)),
            records=records,
            accept_expired=options.get("accept_expired", False),
            assignment=self._work(records, run),
        )
        with opened as sweep:
            try:
                yield sweep
            except BaseException:
                with suppress(OhmwrightError):  # what ended it is to be heard of
                    _write(sweep, out)
                raise
            _write(sweep, out)

    @contextmanager
    def sweep(
        self,
        plan: Sweep | None,
        run: str | None,
        view: RunView,
        *,
        records: RecordsAt | None = None,
        accept_expired: bool = False,
        assignment: Assignment = NO_ASSIGNMENT,
    ) -> Iterator[SweepRun]:
        """Open the record of a new sweep by `plan`, or of the sweep `run` on record."""
        self.use.refuse_unready()
        if plan is not None:
            plan.refuse_impossible(self.data)
        with self._job_in(records, run) as store:
            earlier: tuple[Event, ...] = ()
            if run is not None:
                earlier = claimed_events(store, resolved_run_id(store, run), self._by)
            plan, file = (
                recorded_sweep(earlier) if plan is None else (plan, plan.procedure_file(self.data))
            )
            job = new_job(
                file,
                self.data,
                store,
                stages=("as_found",),
                earlier=earlier,
                accept_expired=accept_expired,
                assignment=assignment,
            )
            yield SweepRun(self, plan, job, store, view)

    async def run(
        self, procedure: str | PathLike[str] | None = None, **options: Unpack[ProcedureOptions]
    ) -> Run:
        """Run a procedure file, or go on with such a run, and return what is on record of it.

        Without a file, the procedure is that of the unit in the register of assets. Raises
        OhmwrightError. A run that a person stops is returned unfinished. Options: `ohmwright guide
        python`.
        """
        refuse_wrong_options(options, ProcedureOptions)
        self.use.refuse_unready()
        path = None if procedure is None else given_path("run()", procedure)
        file = procedure_of(path, self._unit)
        stages = known_stages(options.get("stages", STAGES))
        resume, records = options.get("resume"), options.get("records", self._records)
        if resume is not None:
            refuse_no_run(resume)
        work = self._work(records, resume)
        with self._job_in(records, resume) as store, self._job.going_on():
            run_id = None if resume is None else resolved_run_id(store, resume)
            earlier = () if run_id is None else claimed_events(store, run_id, self._by)
            accept_expired = options.get("accept_expired", False)
            job = new_job(
                file,
                self.data,
                store,
                stages=stages,
                earlier=earlier,
                accept_expired=accept_expired,
                assignment=work,
            )
            await self._have_simulated_unit_as_left(earlier)
            view = EventListener(options.get("on_event", ignore_event))
            async with aclosing(recorded_events(job, self.instruments, store, view)) as events:
                async for _ in events:
                    pass
            return Run(records, job.run_id, (*earlier, *view.events))

    @contextmanager
    def _job_in(self, records: RecordsAt | None, run: str | None) -> Iterator[SqlStore]:
        """Have the bench for one job, and open its records; where `run` is given they exist."""
        opened = open_records if run is None else open_existing_records
        with self.use.one_job(), opened(records) as store:
            store.key.load()  # a run that nobody can sign is not begun
            yield store

    async def _have_simulated_unit_as_left(self, earlier: Sequence[Event]) -> None:
        """Build a unit that is simulated here anew, with the trims that `earlier` events stored."""
        if earlier and self.data.file.in_process:
            self.data = self.data.gone_on_with(earlier)
            await self.reopen()


@for_async_with
async def open_bench(
    path: str | PathLike[str],
    *,
    seed: int | None = None,
    port: str | None = None,
    operator: Operator | None = None,
    guarded: bool = True,
    asset: str | None = None,
    in_repair: bool = False,
    records: RecordsAt | None = None,
) -> AsyncIterator[AsyncBench]:
    """Open the bench of a file; every line is closed at the end of the block, with RF off.

    `seed`: another simulated unit than the file's; `port`: another serial port than the file's;
    `asset`: the unit on it, by its tag in the register of assets, or what a scanner gave, and
    `in_repair`: whether it may be one that is in repair;
    `records`: where that register is and runs are kept, without it your own records; `operator`:
    who answers requests, without one nobody does (a simulated bench has a simulated person);
    `guarded`: see the guide's page `safety`. Raises OhmwrightError.

    >>> import asyncio, ohmwright
    >>> async def curve():
    ...     async with ohmwright.open_bench("bench.toml", seed=3) as bench:
    ...         plan = ohmwright.Sweep(modes={"cut": [150]}, loads_ohm=[200, 500])
    ...         async for point in bench.points(plan, records="trial"):
    ...             print(f"{point.load_ohm:g} ohm: {point.power_w:.0f} W")
    >>> asyncio.run(curve())
    200 ohm: 144 W
    500 ohm: 147 W
    """
    refuse_no_operator(operator)
    data = BenchChoice(given_path("a bench", path), port, guarded=guarded).read()
    registered = None
    if asset is not None:
        if seed is not None:
            raise UsageError("A seed and an asset each choose the unit.", do="Give one of them.")
        unit = unit_on_bench(data, asset, records, in_repair=in_repair)
        data, registered = unit.bench, unit.registered
    data = data if seed is None else data.with_seed(seed)
    bench = AsyncBench(
        data, operator, guarded=guarded, registered=registered, in_repair=in_repair, records=records
    )
    try:
        await bench.reopen()
        try:
            yield bench
        finally:
            await bench.end_jobs()
    finally:
        await bench.close()


def _write(sweep: SweepRun, out: Path | None) -> None:
    if out is not None and sweep.done:
        write_curve(sweep.curve(), out)
