"""The commands `calibrate`, `verify` and `demo`: run or resume a procedure on a bench."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import anyio
from rich.text import Text

from ohmwright.api.bench_data import BenchChoice, BenchData
from ohmwright.api.jobs import claimed_events, new_job
from ohmwright.api.open_bench import open_bench
from ohmwright.api.paths import given_procedure
from ohmwright.api.run_view import watch_of
from ohmwright.api.unit_on_bench import procedure_of
from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import ProcedureFile, measured_once, read_procedure
from ohmwright.engine.run import keys_the_output
from ohmwright.model import rf_state
from ohmwright.model.account import account_name
from ohmwright.model.assignment import NO_ASSIGNMENT, Assignment
from ohmwright.model.bench_file import Simulation
from ohmwright.model.errors import RfUnsafe
from ohmwright.model.event import Event, RunFinished
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.traceability import RoomFigures
from ohmwright.model.typed_command import typed_command
from ohmwright.records.open_database import is_url
from ohmwright.records.sql_store import SqlStore
from ohmwright.simulator.faults import LineFault

from .console import CAUTION, err, out
from .error_report import print_error
from .live import LiveView, showing
from .open_records import open_existing_records, open_records, trusted_keys
from .run_and_record import run_and_record
from .run_report import (
    GoOn,
    by_resume_option,
    exit_code,
    print_how_to_resume,
    print_rf_after_stop,
    print_run,
)
from .run_subject import WorkRequest, resumed_run, unit_on_bench
from .sound.sounding import Hearing, Sounds, sounding
from .standing_by import see_who_stands_by
from .terminal_operator import PlainDisplay, TerminalOperator

OnBegun = Callable[[SqlStore, str], None]


def ignore_begun(store: SqlStore, run_id: str) -> None:
    """Take no notice of a run."""


@dataclass(frozen=True)
class RunRequest:
    """A run as asked for on the command line."""

    procedure: Path | None
    """None for that of the unit in the register of assets."""
    bench: BenchChoice
    stages: tuple[Stage, ...]
    records: str | None
    resume: str | None
    unattended: bool
    as_json: bool
    accept_expired: bool = False
    room: RoomFigures = field(default_factory=RoomFigures)
    """Room temperature and humidity given for this part of the run."""
    uses_fleet_prior: bool = True
    """Whether adjustments start from a prior of earlier runs on units of the same model."""
    writes_certificate: bool = False
    """Whether the certificate is written at the end of the run, beside the records."""
    work: WorkRequest = field(default_factory=WorkRequest)
    on_begun: OnBegun = ignore_begun
    """Called with the store and the run's number, before the first event."""
    go_on: GoOn = by_resume_option
    hearing: Hearing = field(default_factory=Hearing)
    """What is heard of the run."""


def run_procedure(request: RunRequest) -> int:
    """Run or resume a procedure; return the exit code of the run. Raises OhmwrightError."""
    bench = replace(request.bench.read(), room=request.room)
    procedure = None if request.procedure is None else given_procedure(request.procedure)
    if procedure is not None:
        read_procedure(procedure)  # refused before the records are opened
    request = replace(request, resume=resumed_run(request.resume, request.records))
    unit = unit_on_bench(bench, request.work, request.records, request.resume)
    file = procedure_of(procedure, unit)
    if "adjust" not in request.stages:
        file = measured_once(file)
    assignment = unit.assigned(request.work.assignment())
    open_store = open_records if request.resume is None else open_existing_records
    with open_store(request.records) as store:
        earlier: tuple[Event, ...] = ()
        if request.resume is not None:
            operator = request.work.operator or account_name()
            earlier = claimed_events(store, request.resume, operator)
        if not request.unattended:
            err().print(CAUTION, style="bold")
        return _run(request, file, unit.bench, store, earlier, assignment)


def run_demo(
    seed: int, records: str | None, faults: tuple[LineFault, ...] = (), *, as_json: bool
) -> int:
    """Run the shipped procedure on the shipped simulated bench; return the exit code.

    `seed` chooses the simulated unit, `faults` what goes wrong on the lines to its instruments.
    """
    choice = BenchChoice(shipped("benches", "demo.toml"))
    bench = choice.read()
    simulation = (bench.file.simulation or Simulation()).model_copy(update={"seed": seed})
    file = bench.file.model_copy(update={"simulation": simulation})
    bench = replace(bench, file=file, faults=faults)
    procedure = shipped("procedures", "demo-monopolar.toml")
    request = RunRequest(
        procedure,
        choice,
        STAGES,
        records,
        None,
        True,
        as_json,
        uses_fleet_prior=False,
        writes_certificate=True,
    )
    with open_records(records) as store:
        return _run(request, read_procedure(procedure), bench, store, ())


def _run(
    request: RunRequest,
    file: ProcedureFile,
    bench_data: BenchData,
    store: SqlStore,
    earlier: tuple[Event, ...],
    assignment: Assignment = NO_ASSIGNMENT,
) -> int:
    """Run the procedure, print the result and return the exit code; `earlier`: events resumed."""
    store.key.load()  # a run that nobody can sign is not begun
    job = new_job(
        file,
        bench_data,
        store,
        stages=request.stages,
        earlier=earlier,
        accept_expired=request.accept_expired,
        uses_fleet_prior=request.uses_fleet_prior,
        assignment=assignment,
    )
    request.on_begun(store, job.run_id)
    notes = PendingEvents()

    async def work(sounds: Sounds) -> tuple[Event, ...]:
        return await _worked(request, job, bench_data, store, notes, sounds)

    try:
        with sounding(request.hearing) as sounds:
            events = anyio.run(work, sounds)
    except Exception:  # whatever it was, the run can be resumed
        _print_left_open(notes)
        print_how_to_resume(store, job.run_id, request.go_on, before=len(earlier))
        raise
    if request.as_json or not out().is_terminal:  # where the tables below do not say it here
        _print_left_open(notes)
    print_run(job.run_id, events, store, as_json=request.as_json, go_on=request.go_on)
    if rf_state.latest().is_unproved or not isinstance(events[-1], RunFinished):
        print_rf_after_stop()
    if isinstance(events[-1], RunFinished) and not request.as_json:
        _write_or_offer_certificate(request, job.run_id, store)
    return exit_code(events)


async def _worked(
    request: RunRequest,
    job: Job,
    bench_data: BenchData,
    store: SqlStore,
    notes: PendingEvents,
    sounds: Sounds,
) -> tuple[Event, ...]:
    """Open the bench, carry the job out on it and return the events."""
    opening = open_bench(
        bench_data.gone_on_with(job.earlier),
        unattended=request.unattended,
        guarded=request.bench.guarded,
        person=TerminalOperator(PlainDisplay(), request.work.operator),
        operator_name=request.work.operator or "",
    )
    async with opening as bench:
        if keys_the_output(job):
            see_who_stands_by(bench)
        try:
            view = LiveView(bench.clock, sounds)
            view.watch = watch_of(job, by_hand=bench_data.generator_verbs is None)
            view.caution = "" if request.unattended else CAUTION
            with showing(view, bench):
                return await run_and_record(job, bench, store, view, notes)
        except RfUnsafe as error:
            print_error(error)  # now: to close the bench takes as long as its guard tries OFF
            raise


def _write_or_offer_certificate(request: RunRequest, run_id: str, store: SqlStore) -> None:
    """Write the certificate beside the records, or print the command that writes it."""
    if not request.writes_certificate or is_url(store.database.place):
        out().print(f"Certificate: {typed_command(f'certificate {run_id}')}", soft_wrap=True)
        return
    from ohmwright.api.certificate_files import (
        CertificateOptions,
        OutputPaths,
        write_certificate_files,
    )
    from ohmwright.api.certificate_renderer import certificate_renderer

    renderer = certificate_renderer(store, run_id, trusted_keys(None, store), CertificateOptions())
    place = Path(store.database.place).parent / "certificates" / renderer.name()
    paths = OutputPaths(*(place.with_name(f"{place.name}.{end}") for end in ("pdf", "html")))
    for path in write_certificate_files(renderer, paths, overwrite=False).values():
        out().print(f"Certificate: {path}", soft_wrap=True)


def _print_left_open(notes: PendingEvents) -> None:
    """Print what a person has to undo at the unit, also where the record has failed."""
    if notes.left_open:
        err().print(Text(notes.left_open, style="bold"))
