"""What a run is about: the unit, the bench with it, the procedure, and what is given to it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from ohmwright.api.assets import asset_of_scan
from ohmwright.api.attached_files import read_attachments, read_given_values
from ohmwright.api.bench_data import BenchData
from ohmwright.api.open_records import records_exist
from ohmwright.api.paths import procedure_file
from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.engine.resume import run_started_event
from ohmwright.instruments.bench import named_unit
from ohmwright.model.account import account_name
from ohmwright.model.assignment import Assignment
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.sql_store import SqlStore

from .open_records import open_existing_records


@dataclass(frozen=True)
class WorkRequest:
    """What a run is done for, as asked for on the command line."""

    asset: str | None = None
    """What was typed or scanned."""
    operator: str | None = None
    work_order: str = ""
    comments: tuple[str, ...] = ()
    attach: tuple[Path, ...] = ()
    values: Path | None = None

    def assignment(self) -> Assignment:
        """Return it with every file read. Raises SourceError."""
        given = (
            Assignment()
            if self.values is None
            else Assignment(given=read_given_values(self.values))
        )
        return replace(
            given,
            work_order=self.work_order,
            account=account_name(),
            comments=self.comments,
            attachments=read_attachments(self.attach),
        )


@dataclass(frozen=True)
class UnitOnBench:
    """A bench with the unit that stands on it."""

    bench: BenchData
    registered: RegisteredAsset | None
    """None for a unit of the bench file."""


def unit_on_bench(
    bench: BenchData, scanned: str | None, records: str | None, resume: str | None
) -> UnitOnBench:
    """Return the bench with the unit of the register, or with that of its own file.

    A run that goes on is of the unit that it was begun with. Raises UsageError where neither
    says which unit it is.
    """
    if scanned is None and resume is None:
        named_unit(bench.file.asset, bench.file.name)
        return UnitOnBench(bench, None)
    if scanned is not None and not records_exist(records):
        raise UsageError(
            f"--asset {scanned}: there is no register of assets yet.",
            do="Add units with 'ohmwright asset add' or 'ohmwright asset import', or say where "
            "the records are with --records.",
        )
    with open_existing_records(records) as store:
        registered = _registered(store, scanned, resume)
    if registered is None:
        return UnitOnBench(bench, None)
    return UnitOnBench(bench.with_unit(registered), registered)


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
