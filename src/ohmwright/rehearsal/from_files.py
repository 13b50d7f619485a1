"""A rehearsal from the paths of procedure and bench, and of the records that units are to be like.

>>> from ohmwright.model.shipped import shipped
>>> done = rehearse(
...     shipped("procedures", "attended-marlow.toml"),
...     shipped("benches", "attended.toml"),
...     units=1,
...     workers=1,
... )
>>> len(done.outcomes)
1
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from numbers import Integral
from pathlib import Path

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_records import open_existing_records
from ohmwright.api.paths import given_path
from ohmwright.api.simulated_commands import simulated_commands
from ohmwright.api.simulation_profiles import read_simulation_profiles
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.event import Event
from ohmwright.records.fleet_learning import fleet_priors
from ohmwright.simulator.cued_hands import Hands

from .outcome import UnitOutcome
from .population import like_fleet
from .rehearse import Rehearsal, Sharing, rehearse_units
from .rehearsed_bench import RehearsedBench
from .unit_run import Rehearsed


def rehearse(
    procedure: Path | str,
    bench: Path | str,
    *,
    units: int = 100,
    seed: int = 1,
    workers: int | None = None,
    cluster: str | None = None,
    like: str | None = None,
    on_outcome: Callable[[UnitOutcome], None] = lambda _: None,
) -> Rehearsal:
    """Run a procedure on so many invented units in virtual time; return what it came to.

    `seed` draws the units; `workers`: processes, None for one a core; `cluster`: address of a
    dask.distributed scheduler to use instead; `like`: records whose fleet the units are to be like.
    `on_outcome` is told each unit as it is done. Ctrl-C ends it early with the units done so far.
    With more than one worker a script calls this below `if __name__ == "__main__":`. Raises
    OhmwrightError before the first unit where the files are wrong or the bench cannot do it.
    """
    _refuse_no_count("units", units, least=1)
    _refuse_no_count("seed", seed, least=0)
    if workers is not None:
        _refuse_no_count("workers", workers, least=1)
    rehearsed = rehearsed_files([procedure], bench, seed=seed, like=like)
    return rehearse_units(rehearsed, units, Sharing(workers, cluster), on_outcome)[0]


def _refuse_no_count(name: str, given: object, *, least: int) -> None:
    """Raise UsageError where the keyword `name` is no whole number from `least` on."""
    if isinstance(given, bool) or not isinstance(given, Integral) or given < least:
        raise UsageError(
            f"{name}= takes a whole number from {least} on, not {given!r}.",
            "No unit was run.",
            "Correct it.",
        )


def rehearsed_files(
    procedures: Sequence[Path | str],
    bench: Path | str,
    *,
    seed: int,
    like: str | None = None,
    unattended: bool = False,
    slips: float = 0.0,
) -> tuple[Rehearsed, ...]:
    """Return the rehearsal of each procedure file, all on the bench file `bench`.

    `slips`: share of cues at which the simulated person at the keys slips. Raises SourceError or
    UsageError where a file is wrong, has no [physics], or the records tell too little of the model.
    """
    files = [read_procedure(given_path("rehearse()", one)) for one in procedures]
    on = rehearsed_bench(read_bench(given_path("a bench", bench)), unattended=unattended)
    on = replace(on, hands=Hands.slipping(slips))
    rehearsed = tuple(Rehearsed(file, on, seed) for file in files)
    return rehearsed if like is None else tuple(_like_records(one, like) for one in rehearsed)


def rehearsed_bench(data: BenchData, *, unattended: bool = False) -> RehearsedBench:
    """Return the bench of a bench file, simulated, whether or not its instruments are.

    Raises SourceError where a data file has no [physics] to be simulated from, or the analyzer
    has no link.
    """
    profiles = data.profiles or read_simulation_profiles(data.analyzer_path, data.generator_path)
    simulation = data.file.simulation
    analyzer_commands, generator_commands = simulated_commands(data)
    if analyzer_commands is None:
        raise SourceError(
            f"{data.path}: the analyzer is worked by hand.",
            "A rehearsal simulates an analyzer that has a link.",
            "Rehearse on a bench whose analyzer has one.",
        )
    bench = RehearsedBench(
        name=data.file.name,
        analyzer=profiles.analyzer,
        generator=profiles.generator,
        analyzer_commands=analyzer_commands,
        generator_commands=generator_commands,
        asset=data.file.asset or _any_unit(data),
        certificate=data.certificate,
        environment=data.environment,
        unattended=unattended,
    )
    return bench if simulation is None else replace(bench, age_months=simulation.age_months)


def _any_unit(data: BenchData) -> Asset:
    """Return a unit of the bench's model, for a bench file that names none."""
    made = data.generator
    return Asset(id="rehearsed", maker=made.maker, model=made.model, serial="")


def _like_records(rehearsed: Rehearsed, place: str) -> Rehearsed:
    """Return the rehearsal with units, and priors, as the records know the bench's model.

    Real units count where there are any; else simulated ones.
    """
    profile = rehearsed.bench.generator
    model = profile.data.model
    with open_existing_records(place) as store:
        void = store.voided_run_ids()
        runs = [store.events(run_id) for run_id in store.run_ids() if run_id not in void]
        started = [run_started_event(events) for events in runs]
        simulated = all(s.seed is not None for s in started if s and s.asset.model == model)
        fitting = defaultdict[str, list[Sequence[Event]]](list)
        for begun, events in zip(started, runs, strict=True):
            if begun and begun.asset.model == model and (begun.seed is not None) == simulated:
                fitting[begun.asset.serial].append(events)
        priors = fleet_priors(store, model, simulated=simulated)
    bench = rehearsed.bench.with_generator(like_fleet(profile, fitting.values()))
    kind = "simulated" if simulated else "real"
    count = sum(map(len, fitting.values()))
    drawn_from = f"the data files and {count} runs on record, of {len(fitting)} {kind} units"
    return replace(rehearsed, bench=bench, fleet=priors, drawn_from=drawn_from)
