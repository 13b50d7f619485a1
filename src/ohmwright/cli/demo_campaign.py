"""The command `demo --campaign`: five years of an invented fleet on record, and what to look at."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import timedelta
from shlex import quote

from rich.progress import Progress
from rich.text import Text

from ohmwright.invented_history.fleet import YEARS, invented_fleet
from ohmwright.invented_history.make_history import MadeHistory, make_history
from ohmwright.model.errors import UsageError
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.asset_register import AssetChange, AssetRegister
from ohmwright.records.sql_store import SqlStore
from ohmwright.simulator.faults import LineFault
from ohmwright.wire.clock import RealClock

from .console import err, out, print_json
from .open_records import open_records

_PLACE = "campaign"
"""Folder of the records where nobody names a place: never among a user's own."""
_TO_LOOK_AT = (
    "To be looked at alone: no bench has these units, and none of them can be run. To try work at "
    "a simulated bench: ohmwright guide campaign"
)


def run_demo_campaign(
    seed: int, records: str | None, faults: Sequence[LineFault], *, as_json: bool
) -> int:
    """Make the history of the fleet `seed` up to yesterday in records without a run; return 0.

    Raises UsageError where there are runs already: invented ones are never added to others.
    """
    if faults:
        raise UsageError(
            "--fault: a campaign opens no line that a fault could befall.", do="Leave it out."
        )
    place = _PLACE if records is None else records
    until = RealClock().wall().date() - timedelta(days=1)
    with open_records(place) as store:
        _refuse_others(store)
        with Progress(console=err(), transient=True, disable=not err().is_terminal) as progress:
            task = progress.add_task("runs")

            def advance(done: int, of: int) -> None:
                progress.update(task, completed=done, total=of)

            history = make_history(store, invented_fleet(seed, until), seed, advance)
        _register(store, history)
        where = store.database.place
    if as_json:
        print_json(_document(history, seed, where))
    else:
        _print(history, seed, where, place)
    return 0


def _refuse_others(store: SqlStore) -> None:
    if store.run_ids():
        raise UsageError(
            f"{store.database.place} has runs on record.",
            "Hundreds of invented ones among them would hide them; nothing was added.",
            "Give a new place: --records FOLDER.",
        )


def _register(store: SqlStore, history: MadeHistory) -> None:
    """Put the units in the register of assets."""
    added = [
        AssetChange(
            "added",
            RegisteredAsset(
                tag=(asset := unit.asset).id,
                maker=asset.maker,
                model=asset.model,
                serial=asset.serial,
                site=asset.department,
                state="withdrawn" if unit.withdrawn else "in service",
            ),
            revision=1,
        )
        for unit in history.units
    ]
    AssetRegister(store.database).apply(added, by="the demo", why="invented")


def _document(history: MadeHistory, seed: int, place: str) -> dict[str, object]:
    return {
        "simulated": True,
        "seed": seed,
        "record": place,
        "units": [
            {"asset": unit.asset.model_dump(), "visits": [f"{day}" for day in unit.visits]}
            for unit in history.units
        ],
        "runs": list(history.run_ids),
        "verdicts": dict(history.verdicts),
        "found_out_of_tolerance": history.found_out,
    }


def _print(history: MadeHistory, seed: int, place: str, given: str) -> None:
    models = dict.fromkeys(f"{unit.asset.maker} {unit.asset.model}" for unit in history.units)
    verdicts = ", ".join(f"{count} {verdict}" for verdict, count in history.verdicts.most_common())
    there = f" --records {quote(given)}"
    newest = history.units[0]
    for line in (
        f"{len(history.units)} units of {len(models)} models: {', '.join(models)}",
        f"SIMULATED, seed {seed}: no evidence about any real unit",
        f"{len(history.run_ids)} runs in {YEARS} years: {verdicts}; "
        f"{history.found_out} found out of tolerance",
        f"Record: {place}",
        _TO_LOOK_AT,
        "",
        "What to look at next:",
        f"  ohmwright record list --search {newest.asset.id}{there}",
        f"  ohmwright record list --verdict fail{there}",
        f"  ohmwright record creep --simulated{there}",
        f"  ohmwright worklist --simulated{there}",
        f"  ohmwright record report fleet.pdf --simulated{there}",
        f"  ohmwright record fleet{there}",
        f'  ohmwright record trend "{newest.asset.model}" cut-full "100 ohm"{there}',
        f"  ohmwright certificate last --all papers{there}",
        f"  ohmwright record verify{there}",
    ):
        out().print(Text(line), soft_wrap=True)
