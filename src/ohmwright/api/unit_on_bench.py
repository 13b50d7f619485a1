"""The unit that stands on a bench, by the register of assets or by the bench file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.engine.run_so_far import run_started_event
from ohmwright.instruments.bench import named_unit
from ohmwright.model.assignment import NO_ASSIGNMENT, Assignment
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.records.notices import Notify, no_notice
from ohmwright.records.sql_store import SqlStore

from .assets import asset_of_scan, refuse_in_repair
from .bench_data import BenchData
from .bench_generators import for_model, with_unit
from .open_records import open_existing_records, records_exist
from .paths import RecordsAt, procedure_file, records_location
from .unit_of_file import other_unit_on_record, refuse_contradiction

IN_REPAIR = "Worked on while the register of assets had the unit as in repair."
"""What this program itself remarks in the record of such a run."""


@dataclass(frozen=True)
class UnitOnBench:
    """A bench with the unit that stands on it."""

    bench: BenchData
    registered: RegisteredAsset | None
    """None for a unit of the bench file."""
    on_record: tuple[str, ...] = ()
    """What is odd about a unit of the bench file, by earlier runs."""

    def assigned(self, work: Assignment = NO_ASSIGNMENT) -> Assignment:
        """Return what a run is done for, with the unit; what is odd about it is remarked."""
        unit = self.registered
        said = (IN_REPAIR,) if unit is not None and unit.state == "in repair" else ()
        remarks = (*work.remarks, *said, *self.other_maker(), *self.on_record)
        return replace(work, registered=unit, remarks=remarks)

    def other_maker(self) -> tuple[str, ...]:
        """Say where the unit is of another maker than the data by which it is worked."""
        unit = self.bench.file.asset  # that of the register, where it is one
        if unit is None:
            return ()
        data = for_model(self.bench, unit.model).generator
        if _is_one_maker(unit.maker, data.maker):
            return ()
        said_by = "bench file" if self.registered is None else "register of assets"
        return (
            f"The {said_by} names {unit.maker} as the maker of {unit.id}; its generator data are "
            f"those of a {data.maker} {data.model}.",
        )


def _is_one_maker(one: str, other: str) -> bool:
    """Whether two names are of one maker: as "Tessenhove" and "Tessenhove GmbH"."""
    one, other = one.casefold().strip(), other.casefold().strip()
    return one in other or other in one


def unit_on_bench(
    bench: BenchData,
    scanned: str | None,
    records: RecordsAt | None,
    resume: str | None = None,
    notify: Notify = no_notice,
    *,
    in_repair: bool = False,
) -> UnitOnBench:
    """Return the bench with the unit of the register, or with that of its own file.

    A run that goes on is of the unit that it was begun with. `in_repair`: whether a person said
    that a unit in repair is to be worked on. Raises UsageError where neither says which unit it is,
    or they contradict each other, InRepairError where a unit is in repair and nobody said so.
    """
    if scanned is None and resume is None:
        return _unit_of_file(bench, records, notify, in_repair=in_repair)
    if scanned is not None and not records_exist(records):
        raise UsageError(
            f"Asset {scanned}: there is no register of assets in {records_location(records)} yet.",
            do=f"Add units with '{typed_command('asset add TAG')} …' or "
            f"'{typed_command('asset import FILE')}', or say where the records are.",
        )
    with open_existing_records(records, notify) as store:
        registered = _registered(store, scanned, resume)
        if scanned is not None and registered is not None and not in_repair:
            refuse_in_repair(store, registered)
    if registered is None:
        return UnitOnBench(bench, None)
    on_bench = UnitOnBench(with_unit(bench, registered), registered)
    _tell_what_is_odd(on_bench, notify)
    return on_bench


def _unit_of_file(
    bench: BenchData, records: RecordsAt | None, notify: Notify, *, in_repair: bool
) -> UnitOnBench:
    """Return the bench with the unit of its own file, which the records must not contradict."""
    unit = named_unit(bench.file.asset, bench.file.name)
    odd: tuple[str, ...] = ()
    if records_exist(records):
        with open_existing_records(records, notify) as store:
            refuse_contradiction(store, unit, bench.path, in_repair=in_repair)
            odd = other_unit_on_record(store, unit, simulated=bench.file.in_process)
    on_bench = UnitOnBench(bench, None, odd)
    _tell_what_is_odd(on_bench, notify)
    return on_bench


def _tell_what_is_odd(on_bench: UnitOnBench, notify: Notify) -> None:
    for words in (*on_bench.other_maker(), *on_bench.on_record):
        notify(words)


def _registered(store: SqlStore, scanned: str | None, resume: str | None) -> RegisteredAsset | None:
    if scanned is not None:
        return asset_of_scan(store, scanned)
    started = run_started_event(store.events(resume or ""))
    return None if started is None else started.registered


def procedure_of(given: Path | None, on_bench: UnitOnBench) -> ProcedureFile:
    """Return the procedure that is given, else that of the unit in the register."""
    if given is not None:
        return read_procedure(given)
    unit = on_bench.registered
    if unit is None:
        raise UsageError(
            "Which procedure? None is given.",
            do="Give its file, or --asset TAG for a unit whose procedure is in the register.",
        )
    return read_procedure(procedure_file(unit.procedure, on_bench.bench.path, unit.tag))
