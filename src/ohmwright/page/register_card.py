"""A unit as the register of assets has it, with its changes, and the commands that change it."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from shlex import quote
from typing import Any

from ohmwright.api.assets import command_into_service
from ohmwright.api.recorded_worklist import store_worklist, today
from ohmwright.fleet.worklist import WorkUnit
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_changes import changes_of_history, changes_text
from ohmwright.records.asset_register import AssetRegister, AssetRevision
from ohmwright.records.sql_store import SqlStore


def work_unit(unit: WorkUnit, on: date) -> dict[str, Any]:
    """Return a unit of the worklist as it stands on a day."""
    asset, last = unit.asset, unit.last
    return {
        "tag": asset.tag,
        "maker": asset.maker,
        "model": asset.model,
        "serial": asset.serial,
        "site": asset.site,
        "state": asset.state,
        "risk_now": unit.risk.now if unit.is_risk_known else None,
        "risk_within_year": unit.risk.within_year if unit.is_risk_known else None,
        "probably_out": unit.is_probably_out,
        "foretold": unit.is_foretold,
        "due": None if unit.due is None else unit.due.isoformat(),
        "is_due": unit.is_due(on),
        "last_on": None if last is None else last.on.isoformat(),
        "last_verdict": None if last is None else last.verdict,
        "last_is_told": last is not None and last.is_told,
        "last_run": None if last is None else last.run_id or None,
    }


def register_card(store: SqlStore, tag: str, *, simulated: bool) -> dict[str, Any]:
    """Return what the register says of a unit; its `asset` is None where it has none of this tag.

    `simulated`: whether runs on simulated benches say when it is due, and not those on real ones.
    """
    register = AssetRegister(store.database)
    try:
        asset = register.get(tag).asset  # capitals do not matter
    except UsageError:
        return {"asset": None, "work": None, "changes": [], "commands": [_adding(tag)]}
    history = register.history(asset.tag)
    units = store_worklist(store, simulated=simulated)
    work = next((work_unit(one, today()) for one in units if one.asset.tag == asset.tag), None)
    return {
        "asset": asset.model_dump(),
        "work": work,
        "changes": _changes(history),
        "commands": _changing(asset),
    }


def _changes(history: Sequence[AssetRevision]) -> list[str]:
    """Return each change in words, newest first."""
    told = []
    for one, changes in zip(history, changes_of_history(history), strict=True):
        words = "; ".join(filter(None, (one.why, changes_text(changes))))
        line = f"{one.at[:10]}, {one.what} by {one.by}"
        told.append(f"{line}: {words}" if words else line)
    return told[::-1]


def _adding(tag: str) -> list[str]:
    words = f"asset add {quote(tag)} --maker MAKER --model MODEL --serial SERIAL"
    return ["enter it in the register", typed_command(words)]


def _changing(asset: RegisteredAsset) -> list[list[str]]:
    """Return what may be changed, each with its command."""
    tag = quote(asset.tag)
    place = ["it stands elsewhere", typed_command(f"asset change {tag} --site PLACE --why WHY")]
    repair = typed_command(f"asset change {tag} --state 'in repair' --why WHY")
    if asset.state == "in service":
        return [place, ["it is in repair", repair]]
    return [place, ["it is in service again", command_into_service(asset)]]
