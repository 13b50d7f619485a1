"""The command `sweep`: measure power curves, keep them on record, show and write them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from shlex import quote

import anyio

from ohmwright.api.async_bench import AsyncBench
from ohmwright.api.bench_data import BenchChoice, BenchData
from ohmwright.api.curve import Curve
from ohmwright.api.curve_file import read
from ohmwright.api.recorded_curve import curve_of
from ohmwright.api.records_view import Records
from ohmwright.api.run_view import watch_of
from ohmwright.api.sweep_plan import Sweep, recorded_sweep
from ohmwright.api.sweep_run import SweepRun
from ohmwright.api.unit_on_bench import UnitOnBench
from ohmwright.engine.run_so_far import results, run_started_event
from ohmwright.engine.sweep_estimate import SweepEstimate
from ohmwright.model import rf_state
from ohmwright.model.assignment import Assignment
from ohmwright.model.errors import OhmwrightError, Stopped, UsageError
from ohmwright.model.event import Event, RunFinished
from ohmwright.model.typed_command import typed_command
from ohmwright.records.open_database import only_read
from ohmwright.reports.run_remarks import remarks_of_run
from ohmwright.reports.text import printable
from ohmwright.wire.machine_priority import run_before_others

from .console import CAUTION, err
from .error_report import print_error
from .live import LiveView, showing
from .open_records import open_existing_records
from .run_report import print_rf_after_stop
from .run_subject import WorkRequest, resumed_run, unit_on_bench
from .signals import cancel_on_signal
from .standing_by import see_who_stands_by
from .sweep_options import OPTION_OF_KEY, PlanOptions, SweepFiles
from .sweep_output import print_estimate, print_sweep
from .terminal_operator import PlainDisplay, TerminalOperator


@dataclass(frozen=True)
class SweepRequest:
    """A sweep as asked for on the command line."""

    bench: BenchChoice
    plan: PlanOptions
    files: SweepFiles
    records: str | None
    resume: str | None
    accept_expired: bool
    dry_run: bool
    as_json: bool
    work: WorkRequest


def run_sweep(request: SweepRequest) -> int:
    """Measure, print, write the files; return 0, or 4 if stopped or a point has no settled value.

    What cannot be done, read or written is refused before anything is opened.
    """
    with only_read(meant=request.dry_run):
        return _ran(request)


def _ran(request: SweepRequest) -> int:
    """Do the same; a dry run may not change the records."""
    unit = _unit(request)
    data, plan = unit.bench, None
    assignment = unit.assigned(request.work.assignment())
    if request.resume is None:
        plan = request.plan.read(data)
    else:
        request.plan.refuse_all_beside("--resume")
    if plan is not None:
        plan.refuse_impossible(data, OPTION_OF_KEY)
    request.files.refuse_unwritable()
    if request.files.band:
        points = (plan or _plan_on_record(request)[0]).points()
        request.files.refuse_band_of_another(data.generator.model, points)
    others = tuple(map(read, request.files.against))
    if request.dry_run:
        cost = _rest_of_record(request, data) if plan is None else plan.cost(data)
        print_estimate(cost, as_json=request.as_json)
        return 0
    if request.resume is not None and request.files.as_typed():
        events = _events_on_record(request)
        if isinstance(events[-1], RunFinished):
            return _show_again(request, events, others)
    if data.file.simulation is None:
        err().print(CAUTION, style="bold")
    sweeps: list[SweepRun] = []
    try:
        anyio.run(_work, request, data, plan, assignment, sweeps)
    except OhmwrightError:
        try:
            _show(request, sweeps, others)
        except OhmwrightError as unwritten:  # what ended the sweep is told last, with its code
            print_error(unwritten)
        raise
    code = _show(request, sweeps, others)
    if rf_state.latest().is_unproved or not all(sweep.finished for sweep in sweeps):
        print_rf_after_stop()
    return code


def _unit(request: SweepRequest) -> UnitOnBench:
    resume = resumed_run(request.resume, request.records)
    return unit_on_bench(request.bench.read(), request.work, request.records, resume)


def _rest_of_record(request: SweepRequest, data: BenchData) -> SweepEstimate:
    """Return what the points that a sweep on record lacks will cost; nothing is claimed."""
    plan, events = _plan_on_record(request)
    return plan.cost(data, {result.point for result in results(events)})


def _plan_on_record(request: SweepRequest) -> tuple[Sweep, Sequence[Event]]:
    """Return the plan of the sweep that goes on, and what is on record of it."""
    events = _events_on_record(request)
    return recorded_sweep(events)[0], events


def _events_on_record(request: SweepRequest) -> Sequence[Event]:
    return Records(request.records)[request.resume or ""].events


async def _work(
    request: SweepRequest,
    data: BenchData,
    plan: Sweep | None,
    assignment: Assignment,
    sweeps: list[SweepRun],
) -> None:
    """Carry the sweep out; it is appended to `sweeps` once it is begun."""
    name = request.work.operator
    person = TerminalOperator(PlainDisplay(), name)
    bench = AsyncBench(data, person, guarded=request.bench.guarded, operator_name=name or "")
    try:
        await bench.reopen()
        see_who_stands_by(bench.instruments)
        view = LiveView(bench.instruments.clock)
        view.caution = CAUTION if data.file.simulation is None else ""
        opened = bench.sweep(
            plan,
            request.resume,
            view,
            records=request.records,
            accept_expired=request.accept_expired,
            assignment=assignment,
        )
        with opened as sweep:
            sweeps.append(sweep)
            estimate = sweep.plan.cost(data)
            view.watch = watch_of(sweep.job, estimate.point_s)
            _tell(estimate)
            run_before_others()
            with showing(view, bench.instruments), cancel_on_signal():
                await _measured(sweep)
    finally:
        await bench.close()


async def _measured(sweep: SweepRun) -> None:
    try:
        async for _ in sweep.points():
            pass
    except Stopped:  # by a person: what was measured is shown as well
        return


def _tell(estimate: SweepEstimate) -> None:
    """Print on standard error, to a person, what the sweep will cost."""
    if err().is_terminal:
        print_estimate(estimate, as_json=False, console=err())


def _show(request: SweepRequest, sweeps: Sequence[SweepRun], others: Sequence[Curve]) -> int:
    """Print and write what was measured; return the exit code."""
    if not sweeps or run_started_event(sweeps[0].events) is None:
        return 4
    (sweep,) = sweeps
    again = _command(request, sweep.run_id)
    if sweep.done:
        place = sweep.store.database.place
        _show_curve(request, sweep.curve(), sweep.events, place, others)
    if not sweep.finished:
        err().print(f"Points on record: {sweep.done}. Go on with: {again}", soft_wrap=True)
    if sweep.done:
        _write(request, sweep.curve(), others, again)
    whole = sweep.finished and all(point.settled for point in sweep.curve())
    return 0 if whole else 4


def _show_again(request: SweepRequest, events: Sequence[Event], others: Sequence[Curve]) -> int:
    """Print a finished sweep on record and write its files; no bench is opened."""
    curve = curve_of(events)
    with open_existing_records(request.records) as store:
        place = store.database.place
    _show_curve(request, curve, events, place, others)
    err().print("This sweep was finished already: nothing was measured.")
    _write(request, curve, others, _command(request, curve.origin.run))
    return 0 if all(point.settled for point in curve) else 4


def _command(request: SweepRequest, run_id: str) -> str:
    """Return the command that goes on with a run, and writes the same files."""
    bench, files = quote(str(request.bench.path)), request.files.as_typed()
    return typed_command(f"sweep --bench {bench} --resume {run_id}{files}")


def _write(request: SweepRequest, curve: Curve, others: Sequence[Curve], again: str) -> None:
    """Write the files. Raises UsageError that names the command which does so `again`."""
    try:
        request.files.write(curve, others)
    except UsageError as problem:
        raise UsageError(
            problem.happened,
            "What was measured is on record.",
            f"Make room, or correct the name; then: {again}",
        ) from None


def _show_curve(
    request: SweepRequest,
    curve: Curve,
    events: Sequence[Event],
    place: str,
    others: Sequence[Curve],
) -> None:
    """Print the points so far, remarks, and the faults after which the sweep went on."""
    print_sweep(curve, others, place, as_json=request.as_json)
    for remark in remarks_of_run(events):
        err().print(remark, soft_wrap=True, markup=False)
    if request.as_json:  # a table has them among its remarks
        for fault in curve.outlived:
            err().print(printable(fault), soft_wrap=True, markup=False)
