"""`calibrate`, `verify` and `demo`: one run, its tables, its exit code."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from secrets import token_hex

import anyio

from ohmwright.engine.run import Job, results
from ohmwright.model.bench_file import Simulation
from ohmwright.model.errors import OhmwrightError, UsageError
from ohmwright.model.event import Event, RunFinished, RunStarted
from ohmwright.model.procedure import STAGES, Stage, point_names
from ohmwright.model.procedure_file import ProcedureFile, read_procedure
from ohmwright.model.result import Verdict
from ohmwright.model.shipped import shipped
from ohmwright.records.json_lines import JsonLinesStore
from ohmwright.records.store import Store
from ohmwright.wire.clock import RealClock

from .console import CAUTION, err, out, print_json
from .drive import EXIT_CODES, drive
from .live import live_view
from .open_bench import BenchData, opened, read_bench
from .places import records_folder
from .tables import run_tables


@dataclass(frozen=True)
class Request:
    """What the command line asked for."""

    procedure: Path
    bench: Path
    stages: tuple[Stage, ...]
    records: Path | None
    resume: str | None
    unattended: bool
    as_json: bool
    port: str | None = None
    guarded: bool = True


def run_procedure(request: Request) -> int:
    """Run or resume a procedure; return the exit code."""
    file = read_procedure(request.procedure)
    bench = read_bench(request.bench, request.port)
    store = JsonLinesStore(records_folder(request.records))
    earlier = () if request.resume is None else _earlier(store, request.resume, file)
    if not request.unattended:
        err().print(CAUTION, style="yellow")
    return _run(request, file, bench, store, earlier)


def run_demo(seed: int, records: Path | None, *, as_json: bool) -> int:
    """The shipped procedure on the shipped simulated bench, with the unit of `seed`."""
    bench = read_bench(shipped("benches", "demo.toml"))
    simulation = (bench.file.simulation or Simulation()).model_copy(update={"seed": seed})
    bench = replace(bench, file=bench.file.model_copy(update={"simulation": simulation}))
    procedure = shipped("procedures", "demo-monopolar.toml")
    request = Request(procedure, bench.path, STAGES, records, None, True, as_json)
    store = JsonLinesStore(records_folder(records))
    return _run(request, read_procedure(procedure), bench, store, ())


def _run(
    request: Request,
    file: ProcedureFile,
    bench_data: BenchData,
    store: Store,
    earlier: tuple[Event, ...],
) -> int:
    stages = _stages(earlier) or request.stages

    run_id = request.resume or _new_run_id(bench_data.file.asset.id)

    async def work() -> tuple[Event, ...]:
        opening = opened(bench_data, unattended=request.unattended, guarded=request.guarded)
        async with opening as bench:
            with live_view(_points(file, stages)) as view:
                return await drive(Job(file, stages, run_id, earlier), bench, store, view)

    try:
        events = anyio.run(work)
    except OhmwrightError:
        _say_how_to_go_on(store, run_id)
        raise
    report(run_id, events, store, as_json=request.as_json)
    return exit_code(events)


def _stages(earlier: tuple[Event, ...]) -> tuple[Stage, ...] | None:
    return next((event.stages for event in earlier if isinstance(event, RunStarted)), None)


def _points(file: ProcedureFile, stages: tuple[Stage, ...]) -> int:
    return sum(len(point_names(s)) for stage in stages for s in file.procedure.steps_in(stage))


def _new_run_id(asset_id: str) -> str:
    """Sorts by date, names the unit, and is never given twice."""
    name = "".join(c if c.isalnum() or c in "-_" else "-" for c in asset_id)
    return f"{RealClock().wall():%Y%m%dT%H%M%SZ}-{name}-{token_hex(2)}"


def _earlier(store: Store, run_id: str, file: ProcedureFile) -> tuple[Event, ...]:
    events = store.events(run_id)
    started = next((event for event in events if isinstance(event, RunStarted)), None)
    if started is None or isinstance(events[-1], RunFinished):
        raise UsageError(
            f"Run {run_id} cannot be resumed: it is finished or was never begun.",
            do="Start a new run.",
        )
    if started.procedure_digest != file.digest:
        raise UsageError(
            f"Run {run_id} was begun with another text of the procedure.",
            "Its results would not fit together.",
            "Use the procedure file of that run, or start a new run.",
        )
    return events


def _say_how_to_go_on(store: Store, run_id: str) -> None:
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
        "results": [result.model_dump(mode="json") for result in results(events)],
    }
    print_json(document)


def verdict(events: tuple[Event, ...]) -> Verdict:
    """The verdict of the run; `not measured` while it is not finished."""
    last = events[-1]
    return last.verdict if isinstance(last, RunFinished) else "not measured"


def exit_code(events: tuple[Event, ...]) -> int:
    """0 pass, 1 out of tolerance, 4 undecided, not measured or stopped."""
    return EXIT_CODES[verdict(events)]
