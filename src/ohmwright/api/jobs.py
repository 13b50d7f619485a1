"""What a run is to do: a new one, or one on record that goes on."""

from __future__ import annotations

from secrets import token_hex

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import ProcedureFile
from ohmwright.engine.run_so_far import is_refused, run_started_event
from ohmwright.instruments.bench import named_unit
from ohmwright.model.assignment import NO_ASSIGNMENT, Assignment
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, RunFinished
from ohmwright.model.step import Stage
from ohmwright.records.fleet_learning import fleet_priors
from ohmwright.records.run_number import NUMBER_TIME
from ohmwright.records.sql_store import SqlStore
from ohmwright.wire.clock import RealClock

from .bench_data import BenchData
from .campaign_work import refuse_handed_over
from .paths import file_name_safe

_RANDOM_BYTES = 2
"""So few that a number can be typed, and stands whole in a table."""
_given = set[str]()
"""Every run id that this program gave."""


def new_job(
    file: ProcedureFile,
    bench: BenchData,
    store: SqlStore,
    *,
    stages: tuple[Stage, ...],
    earlier: tuple[Event, ...] = (),
    accept_expired: bool = False,
    uses_fleet_prior: bool = True,
    assignment: Assignment = NO_ASSIGNMENT,
) -> Job:
    """Return the job of a new run, or of the run that `earlier` events are of.

    `uses_fleet_prior`: whether adjustments start from what earlier runs on units of the model
    taught, units of the same kind alone: simulated or real.
    """
    fleet = {}
    if uses_fleet_prior and "adjust" in stages:
        simulated = bench.file.simulation is not None
        fleet = fleet_priors(store, bench.generator.model, simulated=simulated)
    started = run_started_event(earlier)
    unit = named_unit(bench.file.asset, bench.file.name)
    run_id = new_run_id(unit.id, store) if started is None else started.run_id
    return Job(
        file, stages, run_id, earlier, fleet, accept_expired=accept_expired, assignment=assignment
    )


def new_run_id(asset_id: str, store: SqlStore) -> str:
    """Return a run id that sorts by date and contains the asset id.

    It is none that `store` has, and none that this program gave before: a run is not on record yet
    while its bench is opened. Of two programs that draw the same for one unit in one second, the
    store takes one.
    """
    while True:
        begun = f"{RealClock().wall():{NUMBER_TIME}}"
        run_id = f"{begun}-{file_name_safe(asset_id)}-{token_hex(_RANDOM_BYTES)}"
        if run_id not in _given and not store.has_run(run_id):
            _given.add(run_id)
            return run_id


def is_number_for(run_id: str, asset_id: str) -> bool:
    """Whether `run_id` is a number as `new_run_id` gives it for a run of this asset."""
    return unit_in_number(run_id) == file_name_safe(asset_id)


def unit_in_number(run_id: str) -> str:
    """Return the asset id as the number of a run has it; empty for a number of another form."""
    return run_id.partition("-")[2].rpartition("-")[0]


def claimed_events(store: SqlStore, run_id: str, operator: str) -> tuple[Event, ...]:
    """Claim an unfinished run and return its events; the first is that it was started.

    Raises UsageError where it is finished, never begun or refused, or another program has it, and
    where a campaign handed its unit over to somebody else than `operator`.
    """
    refuse_handed_over(store, run_id, operator)
    store.claim(run_id)
    events = store.events(run_id)
    never_begun = run_started_event(events) is None
    if never_begun or is_refused(events) or isinstance(events[-1], RunFinished):
        raise UsageError(
            f"Run {run_id} cannot be resumed: it is finished, was never begun, or was refused.",
            do="Start a new run.",
        )
    return events
