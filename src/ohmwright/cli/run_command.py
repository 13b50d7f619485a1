"""`calibrate`, `verify` and `demo`: one run, its tables, its exit code."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from secrets import token_hex
from shlex import quote

import anyio
from rich.text import Text

from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.engine.resume import started_in
from ohmwright.engine.run import Job, results
from ohmwright.model.bench_file import Simulation
from ohmwright.model.errors import ReleaseNotConfirmed, UsageError
from ohmwright.model.event import CurveDiagnosed, Event, RunFinished
from ohmwright.model.result import Verdict
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.traceability import Environment
from ohmwright.records.database import is_url
from ohmwright.records.fleet_learning import fleet_priors
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.store import Store
from ohmwright.reports.run_parts import RunPart, parts_of_run
from ohmwright.simulator.faults import LineFault
from ohmwright.wire.clock import RealClock

from .bench_data import BenchChoice, BenchData
from .console import CAUTION, err, out, print_json
from .drive import EXIT_CODES, drive
from .live import live_view
from .open_bench import opened
from .open_records import existing_records, open_records, trusted_keys
from .places import plain
from .tables import run_tables
from .telling import tell


@dataclass(frozen=True)
class Request:
    """What the command line asked for."""

    procedure: Path
    bench: BenchChoice
    stages: tuple[Stage, ...]
    records: str | None
    resume: str | None
    unattended: bool
    as_json: bool
    accept_expired: bool = False
    room: Environment = field(default_factory=Environment)
    """As read today."""
    learns: bool = True
    """Whether adjusting begins with what earlier runs on units of the model taught."""
    certified: bool = False
    """Whether the certificate is written at once, beside the record."""


def run_procedure(request: Request) -> int:
    """Run or resume a procedure; return the exit code."""
    file = read_procedure(request.procedure)
    bench = _in_room(request.bench.read(), request.room)
    with (open_records if request.resume is None else existing_records)(request.records) as store:
        earlier = () if request.resume is None else _earlier(store, request.resume, request.stages)
        if not request.unattended:
            err().print(CAUTION, style="yellow")
        return _run(request, file, bench, store, earlier)


def _in_room(bench: BenchData, room: Environment) -> BenchData:
    """The bench in the room as read today; what was not read is as its file says."""
    before = bench.file.environment or Environment()
    now = before.model_copy(update=room.model_dump(exclude_none=True))
    return replace(bench, file=bench.file.model_copy(update={"environment": now}))


def run_demo(
    seed: int, records: str | None, faults: tuple[LineFault, ...] = (), *, as_json: bool
) -> int:
    """The shipped procedure on the shipped simulated bench, with the unit of `seed`."""
    choice = BenchChoice(shipped("benches", "demo.toml"))
    bench = choice.read()
    simulation = (bench.file.simulation or Simulation()).model_copy(update={"seed": seed})
    file = bench.file.model_copy(update={"simulation": simulation})
    bench = replace(bench, file=file, faults=faults)
    procedure = shipped("procedures", "demo-monopolar.toml")
    request = Request(
        procedure, choice, STAGES, records, None, True, as_json, learns=False, certified=True
    )
    with open_records(records) as store:
        return _run(request, read_procedure(procedure), bench, store, ())


def _run(
    request: Request,
    file: ProcedureFile,
    bench_data: BenchData,
    store: SqlStore,
    earlier: tuple[Event, ...],
) -> int:
    stages = request.stages
    store.key.load()  # a run that nobody can sign is not begun
    simulated = bench_data.file.simulation is not None
    fleet = (
        fleet_priors(store, bench_data.generator.model, simulated=simulated)
        if request.learns
        else {}
    )
    run_id = request.resume or _new_run_id(bench_data.file.asset.id)
    job = Job(file, stages, run_id, earlier, fleet, accept_expired=request.accept_expired)

    notes = PendingEvents()

    async def work() -> tuple[Event, ...]:
        opening = opened(bench_data, unattended=request.unattended, guarded=request.bench.guarded)
        async with opening as bench:
            try:
                done = len(job.finished_points())
                with live_view(bench, _points(file, stages), done=done) as view:
                    return await drive(job, bench, store, view, notes)
            except ReleaseNotConfirmed as error:
                tell(error)  # before the bench is closed, which takes as long as its guard tries
                raise

    try:
        events = anyio.run(work)
    except Exception:  # whatever it was, what is on record goes on
        _say_what_is_open(notes)
        _say_how_to_go_on(store, run_id)
        raise
    _say_what_is_open(notes)
    report(run_id, events, store, as_json=request.as_json)
    if isinstance(events[-1], RunFinished) and not request.as_json:
        _papers(request, run_id, store)
    return exit_code(events)


def _papers(request: Request, run_id: str, store: SqlStore) -> None:
    """Say how to get the certificate, or write it beside the record."""
    if not request.certified or is_url(store.database.place):
        where = "" if request.records is None else f" --records {quote(store.database.place)}"
        out().print(f"Certificate: ohmwright certificate {run_id}{where}", soft_wrap=True)
        return
    from .certificate_command import Options, Wanted, papers_of, write_papers

    papers = papers_of(store, run_id, trusted_keys(None), Options())
    place = Path(store.database.place).parent / "certificates" / papers.name()
    wanted = Wanted(*(place.with_name(f"{place.name}.{end}") for end in ("pdf", "html")))
    for path in write_papers(papers, wanted, overwrite=False).values():
        out().print(f"Certificate: {path}", soft_wrap=True)


def _points(file: ProcedureFile, stages: tuple[Stage, ...]) -> int:
    return sum(len(s.point_names()) for stage in stages for s in file.procedure.steps_in(stage))


def _new_run_id(asset_id: str) -> str:
    """Sorts by date, names the unit, and is never given twice."""
    return f"{RealClock().wall():%Y%m%dT%H%M%SZ}-{plain(asset_id)}-{token_hex(2)}"


def _earlier(store: SqlStore, run_id: str, stages: tuple[Stage, ...]) -> tuple[Event, ...]:
    """The events of the run to go on with, which must have been begun by the same command."""
    store.claim(run_id)
    events = store.events(run_id)
    started = started_in(events)
    if started is None or isinstance(events[-1], RunFinished):
        raise UsageError(
            f"Run {run_id} cannot be resumed: it is finished or was never begun.",
            do="Start a new run.",
        )
    if started.stages != stages:
        begun = _COMMANDS.get(started.stages, ", ".join(started.stages))
        raise UsageError(
            f"Run {run_id} was begun by '{begun}', not by '{_COMMANDS[stages]}'.",
            "What the one adjusts the other must not, and a run is one of them. Nothing was "
            "switched on.",
            f"Go on with it by 'ohmwright {begun} … --resume {run_id}', or start a new run.",
        )
    return events


def _say_what_is_open(notes: PendingEvents) -> None:
    """What a person has to do at the unit first, also where the record has failed."""
    if notes.left_open:
        err().print(Text(notes.left_open, style="bold yellow"))


_COMMANDS: dict[tuple[Stage, ...], str] = {
    STAGES: "calibrate",
    ("as_left",): "verify",
    ("as_found",): "verify --as-found",
}


def _say_how_to_go_on(store: Store, run_id: str) -> None:
    with suppress(Exception):  # the record itself may be what failed: that is told already
        if run_id in store.run_ids():
            err().print(f"The record so far: {store.place(run_id)}", soft_wrap=True)
            err().print(f"Go on with: --resume {run_id}", soft_wrap=True)


def report(run_id: str, events: tuple[Event, ...], store: Store, *, as_json: bool) -> None:
    """Print the run as tables, or as one JSON document."""
    if not as_json:
        out().print(run_tables(events))
        out().print(f"Record: {store.place(run_id)}", soft_wrap=True)
        if not isinstance(events[-1], RunFinished):
            _say_how_to_go_on(store, run_id)
        return
    document = {
        "run": run_id,
        "record": store.place(run_id),
        "verdict": verdict(events),
        "parts": [_part(part) for part in parts_of_run(events)],
        "results": [result.model_dump(mode="json") for result in results(events)],
        "diagnosis": [e.model_dump(mode="json") for e in events if isinstance(e, CurveDiagnosed)],
    }
    print_json(document)


def _part(part: RunPart) -> dict[str, object]:
    """One part of a run: who, when, in which room, and what cut it short."""
    room = part.environment
    return {
        "operator": part.operator,
        "begun": part.begun_at.isoformat(),
        "ended": part.ended_at.isoformat(),
        "cut_short_by": part.cut_short_by or None,
        "results": len(part.results),
        "environment": None if room is None else room.model_dump(mode="json"),
    }


def verdict(events: tuple[Event, ...]) -> Verdict:
    """The verdict of the run; `not measured` while it is not finished."""
    last = events[-1]
    return last.verdict if isinstance(last, RunFinished) else "not measured"


def exit_code(events: tuple[Event, ...]) -> int:
    """0 pass, 1 out of tolerance, 4 undecided, not measured or stopped."""
    return EXIT_CODES[verdict(events)]
