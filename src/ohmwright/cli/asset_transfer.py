"""The commands `asset import` and `asset export`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rich.text import Text

from ohmwright.api.import_warnings import import_warnings
from ohmwright.api.open_records import records_exist
from ohmwright.model.account import account_name
from ohmwright.records.asset_changes import FieldChanges, changes_text, field_changes
from ohmwright.records.asset_file import assets_csv, read_asset_rows
from ohmwright.records.asset_import import ImportPlan, import_plan
from ohmwright.records.asset_register import AssetRegister, AssetRevision
from ohmwright.records.open_database import only_read
from ohmwright.reports.text import counted, printable

from .console import out, print_json
from .open_records import open_existing_records, open_records
from .options import NotingOptions
from .own_file import new_file

_MOST_SHOWN = 20


@dataclass(frozen=True)
class ImportRequest:
    """An import as asked for on the command line."""

    file: Path
    why: str
    dry_run: bool
    noting: NotingOptions


def import_assets(request: ImportRequest) -> None:
    """Import all rows, or none. Raises SourceError with every row that is wrong."""
    rows = read_asset_rows(request.file)
    place = request.noting.records
    known: dict[str, AssetRevision] = {}
    if records_exist(place):
        with only_read(meant=request.dry_run), open_records(place) as store:
            known = {one.asset.tag: one for one in AssetRegister(store.database).all()}
    plan = import_plan(request.file, rows, known)
    plan.refuse_problems()
    if not request.dry_run:
        by = request.noting.operator or account_name()
        with open_records(place) as store:
            AssetRegister(store.database).apply(plan.changes, by=by, why=request.why)
    changes = {
        one.asset.tag: field_changes(known[one.asset.tag].asset, one.asset)
        for one in plan.changes
        if one.revision > 1
    }
    before = {tag: one.asset for tag, one in known.items()}
    warnings = import_warnings(request.file, (one.asset for one in plan.changes), before)
    _print(request, plan, changes, [*plan.warnings, *warnings])


def _print(
    request: ImportRequest,
    plan: ImportPlan,
    changes: Mapping[str, FieldChanges],
    warnings: Sequence[str],
) -> None:
    """Print which units came, of each that was there what changed, and what is to be looked at."""
    added = [one.asset.tag for one in plan.changes if one.revision == 1]
    changed = list(changes)
    if request.noting.as_json:
        counts = {"added": added, "changed": changed, "unchanged": plan.unchanged}
        told = {"changes": changes, "warnings": list(warnings)}
        print_json({"imported": not request.dry_run} | counts | told)
        return
    said = f"{len(added)} added, {len(changed)} changed, {plan.unchanged} as they were"
    out().print(Text(f"Would be: {said}; nothing was changed." if request.dry_run else f"{said}."))
    if added:
        named = ", ".join(added[:_MOST_SHOWN]) + (" …" if len(added) > _MOST_SHOWN else "")
        _say(f"Added: {named}")
    for tag in changed[:_MOST_SHOWN]:
        _say(f"{tag}: {changes_text(changes[tag])}")
    if len(changed) > _MOST_SHOWN:
        _say(f"… and {len(changed) - _MOST_SHOWN} more; --json has them all.")
    for warning in warnings:
        _say(f"Look: {warning}")


def _say(line: str) -> None:
    out().print(Text(printable(line)), soft_wrap=True)


def export_assets(file: Path, records: str | None, *, as_json: bool) -> None:
    """Write every unit as it is now to a new file."""
    with open_existing_records(records) as store:
        assets = [one.asset for one in AssetRegister(store.database).all()]
    with new_file(file) as written:
        written.write(assets_csv(assets).encode("utf-8-sig"))
    if as_json:
        print_json({"written": str(file), "assets": len(assets)})
    else:
        out().print(Text(f"Written: {file}, {counted(len(assets), 'asset')}"), soft_wrap=True)
