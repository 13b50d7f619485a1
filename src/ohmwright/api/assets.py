"""The unit of a run, looked up in the register of assets by what was typed or scanned."""

from __future__ import annotations

from shlex import quote

from ohmwright.engine.run_so_far import run_started_event
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_register import AssetRegister, AssetRevision
from ohmwright.records.sql_store import SqlStore

LABEL_HEAD = "ohmwright"
"""The first line of the code on a label that this program printed."""


class InRepairError(UsageError):
    """A unit that is in repair was to be worked on, and nobody said that it may be."""

    def __init__(self, unit: AssetRevision) -> None:
        why = f": {unit.why}" if unit.why else ""
        super().__init__(
            f"Asset {unit.asset.tag} is in repair since {unit.at[:10]}, by {unit.by}{why}.",
            "It may be open or unsafe. Nothing was switched on.",
            f"Repaired: {command_into_service(unit.asset)}. As a part of the repair: say so with "
            "--in-repair (a program: in_repair=True).",
        )


def command_into_service(asset: RegisteredAsset) -> str:
    """The command that puts a unit in service again."""
    return typed_command(f"asset change {quote(asset.tag)} --state 'in service'")


def refuse_in_repair(store: SqlStore, unit: RegisteredAsset) -> None:
    """Raise InRepairError where a unit of the register is in repair."""
    if unit.state == "in repair":
        raise InRepairError(since_state(AssetRegister(store.database), unit))


def refuse_withdrawn(store: SqlStore, unit: RegisteredAsset) -> None:
    """Raise UsageError where a unit of the register is withdrawn."""
    if unit.in_use:
        return
    since = since_state(AssetRegister(store.database), unit)
    raise UsageError(
        f"Asset {unit.tag} was withdrawn on {since.at[:10]} by {since.by}"
        + (f": {since.why}." if since.why else "."),
        "A withdrawn unit is not worked on. Nothing was switched on.",
        f"To take it back: {command_into_service(unit)}",
    )


def since_state(register: AssetRegister, unit: RegisteredAsset) -> AssetRevision:
    """Return the revision with which a unit came into its present state."""
    history = register.history(unit.tag)
    before = [at for at, one in enumerate(history) if one.asset.state != unit.state]
    return history[before[-1] + 1 if before else 0]


def asset_of_scan(store: SqlStore, said: str) -> RegisteredAsset:
    """Return the unit that was typed or scanned: its tag, or the code of a label of ours.

    Raises UsageError where the register has none, or the unit is withdrawn.
    """
    register, tag = AssetRegister(store.database), tag_of_scan(store, said)
    asset = register.get(tag).asset
    refuse_withdrawn(store, asset)
    return asset


def tag_of_scan(store: SqlStore, said: str) -> str:
    """Return the tag in what a keyboard or a scanner gave.

    The code of a label names the unit, or the run whose unit the records have. Empty where it is
    neither. Raises UsageError for a label of a run that is not on record here.
    """
    lines = [line.strip() for line in said.strip().splitlines()]
    if not lines or not (lines[0] == LABEL_HEAD or lines[0].startswith("run ")):
        return lines[0] if lines else ""
    facts = dict(line.partition(" ")[::2] for line in lines)
    if "asset" in facts:
        return facts["asset"]
    started = run_started_event(store.events(facts.get("run", "")))
    return "" if started is None else started.asset.id
