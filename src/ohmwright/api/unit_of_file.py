"""The unit that a bench file names, held against what the records say of its tag.

Records, worklist and campaigns know a unit by its tag alone: a run of another unit under the same
tag would count for it.
"""

from __future__ import annotations

from pathlib import Path
from shlex import quote

from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import SourceError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.source import place_in
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_register import AssetRegister, plate_of
from ohmwright.records.queries import fetch_rows, newest_run_of
from ohmwright.records.sql_store import SqlStore

from .assets import refuse_in_repair, refuse_withdrawn


def refuse_contradiction(store: SqlStore, unit: Asset, path: Path, *, in_repair: bool) -> None:
    """Hold the unit of the bench file `path` against the register of assets.

    Raises SourceError where the register has its tag for another unit, UsageError where that is
    withdrawn, InRepairError where it is in repair and nobody said that it may be worked on.
    """
    known = AssetRegister(store.database).find(unit.id)
    if known is None:
        return
    if plate_of(known.asset.model, known.asset.serial) != plate_of(unit.model, unit.serial):
        raise _other_unit(unit, known.asset, path)
    refuse_withdrawn(store, known.asset)
    if not in_repair:
        refuse_in_repair(store, known.asset)


def _other_unit(unit: Asset, known: RegisteredAsset, path: Path) -> SourceError:
    return SourceError(
        f"{place_in(path, ('asset', 'id'))}: {unit.id} is a {_words(unit)} here, and a "
        f"{_words(known.unit)} in the register of assets.",
        "Nothing was switched on: the run would count for the other unit.",
        f"Read the label on the unit. Then correct the table [asset], or the register with "
        f"'{typed_command(f'asset change {quote(unit.id)}')} …'.",
    )


def other_unit_on_record(store: SqlStore, unit: Asset, *, simulated: bool) -> tuple[str, ...]:
    """Say where the newest run of a tag is of another unit; of simulated units or of real ones."""
    (newest,) = fetch_rows(store.database, newest_run_of(unit.id, simulated)) or (None,)
    if newest is None or plate_of(newest.model, newest.serial) == plate_of(unit.model, unit.serial):
        return ()
    return (
        f"{unit.id} is a {unit.model}, serial {unit.serial}, by the bench file, and was a "
        f"{newest.model}, serial {newest.serial}, in its newest run {newest.run_id}: is the tag "
        "right?",
    )


def _words(unit: Asset) -> str:
    return f"{unit.maker} {unit.model}, serial {unit.serial},"
