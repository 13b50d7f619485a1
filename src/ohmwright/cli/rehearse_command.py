"""The command `rehearse`: a procedure tried on many invented units, in virtual time."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path

from rich.progress import Progress

from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.errors import UsageError
from ohmwright.model.event import RunStarted
from ohmwright.records.fleet_learning import fleet_priors
from ohmwright.rehearsal.comparison import compared
from ohmwright.rehearsal.outcome import UnitOutcome
from ohmwright.rehearsal.population import like_fleet
from ohmwright.rehearsal.rehearse import Rehearsal, Sharing, rehearse
from ohmwright.rehearsal.rehearsed_bench import RehearsedBench
from ohmwright.rehearsal.summary import summary
from ohmwright.rehearsal.unit_run import Rehearsed

from .bench_data import BenchData, read_bench, read_simulation_profiles
from .console import err, out, print_json
from .open_records import open_records_for_reading
from .output_file import refuse_unwritable
from .rehearsal_tables import comparison_table, summary_tables

_STOPPED = 4
"""Exit code of a rehearsal that was stopped before its last unit."""


@dataclass(frozen=True)
class RehearseRequest:
    """A rehearsal as asked for on the command line."""

    procedure: Path
    bench: Path
    units: int
    seed: int
    workers: int | None
    cluster: str | None
    like: str | None
    compare: Path | None
    plot: Path | None
    overwrite: bool
    unattended: bool
    as_json: bool


def run_rehearse(request: RehearseRequest) -> int:
    """Rehearse and print; return 0, or 4 where it was stopped before the last unit."""
    if request.plot is not None:
        refuse_unwritable(request.plot, overwrite=request.overwrite)
    data = read_bench(request.bench)
    bench = rehearsed_bench(data, unattended=request.unattended)
    rehearsed = Rehearsed(read_procedure(request.procedure), bench, request.seed)
    if request.like is not None:
        rehearsed = _like_records(rehearsed, request.like)
    both = [rehearsed]
    if request.compare is not None:
        both.append(replace(rehearsed, file=read_procedure(request.compare)))
    done = _with_progress(both, request)
    if not done[0].outcomes:
        raise UsageError("The rehearsal was stopped before its first unit was done.")
    if request.plot is not None:
        from ohmwright.rehearsal.plot import write_plot

        write_plot(request.plot, done)
    _print(done, as_json=request.as_json)
    return 0 if len(done[0].outcomes) == done[0].wanted else _STOPPED


def rehearsed_bench(data: BenchData, *, unattended: bool = False) -> RehearsedBench:
    """Return the bench of a bench file, simulated, whether or not its instruments are.

    Raises SourceError where a data file has no [physics] to be simulated from.
    """
    profiles = data.profiles or read_simulation_profiles(data.analyzer_path, data.generator_path)
    simulation = data.file.simulation
    bench = RehearsedBench(
        name=data.file.name,
        analyzer=profiles.analyzer,
        generator=profiles.generator,
        analyzer_commands=data.analyzer_commands,
        generator_commands=data.generator_commands,
        asset=data.file.asset,
        certificate=data.certificate,
        environment=data.file.environment,
        unattended=unattended,
    )
    return bench if simulation is None else replace(bench, age_months=simulation.age_months)


def _like_records(rehearsed: Rehearsed, place: str) -> Rehearsed:
    """Return the rehearsal with units, and priors, as the records know the bench's model.

    Real units count where there are any; else simulated ones.
    """
    profile = rehearsed.bench.generator
    model = profile.data.model
    with open_records_for_reading(place) as store:
        runs = [store.events(run_id) for run_id in store.run_ids()]
        of_model = [
            (started.seed is not None, events)
            for events in runs
            if (started := next((e for e in events if isinstance(e, RunStarted)), None)) is not None
            and started.asset.model == model
        ]
        simulated = all(is_simulated for is_simulated, _ in of_model)
        events = [events for is_simulated, events in of_model if is_simulated == simulated]
        priors = fleet_priors(store, model, simulated=simulated)
    bench = rehearsed.bench.with_generator(like_fleet(profile, events))
    return replace(rehearsed, bench=bench, fleet=priors)


def _with_progress(both: Sequence[Rehearsed], request: RehearseRequest) -> tuple[Rehearsal, ...]:
    with Progress(console=err(), transient=True, disable=not err().is_terminal) as progress:
        task = progress.add_task("units", total=request.units * len(both))

        def advance(_: UnitOutcome) -> None:
            progress.advance(task)

        sharing = Sharing(request.workers, request.cluster)
        return rehearse(tuple(both), request.units, sharing, advance)


def _print(done: Sequence[Rehearsal], *, as_json: bool) -> None:
    summaries = [summary(one.outcomes, one.wanted) for one in done]
    differences = compared(*(one.outcomes for one in done)) if len(done) > 1 else ()
    if as_json:
        documents = [
            {"simulated": True, "procedure": str(r.rehearsed.file.path), "title": r.title}
            | {"digest": r.rehearsed.file.digest, "seed": r.rehearsed.seed}
            | s.as_json()
            for r, s in zip(done, summaries, strict=True)
        ]
        compared_json = [asdict(one) for one in differences]
        print_json({"rehearsals": documents, "comparison": compared_json})
        return
    for rehearsal, figures in zip(done, summaries, strict=True):
        for block in summary_tables(rehearsal, figures):
            out().print(block)
    if differences:
        out().print(comparison_table(differences))
