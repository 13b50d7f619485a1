"""The runs that were cut short, with what a person knows them by."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from ohmwright.api.open_records import open_existing_records, records_exist
from ohmwright.records import run_lists
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.last_runs import start_of
from ohmwright.records.run_number import begun_at
from ohmwright.records.sql_store import SqlStore

from .orders import STAGES_OF, Work

_MOST_RUNS = 20
_WORK_OF = {stages: work for work, stages in STAGES_OF.items()}


@dataclass(frozen=True)
class CutShort:
    """A run without an end on record."""

    run_id: str
    asset: str
    model: str
    procedure: str
    operator: str
    begun: str
    """When it was begun, by the clock of its computer."""
    work: Work
    """As it was begun, and so as it goes on."""


@dataclass(frozen=True)
class AtBench:
    """Which runs a bench can go on with."""

    name: str
    """As its file has it: a run goes on at the bench where it was begun."""
    own_asset: str | None
    """The unit of the bench file; units of the register come beside it."""
    models: Sequence[str]


def runs_cut_short(
    place: str | None, bench: AtBench, going_on: Collection[str] = ()
) -> list[CutShort]:
    """Return the runs that can go on at a bench, newest first; none of those that go on now."""
    if not records_exist(place):
        return []
    with open_existing_records(place) as store:
        rows = [row for row in _unfinished(store, bench) if row["run_id"] not in going_on]
        found = (_cut_short(store, row, bench) for row in rows[:_MOST_RUNS])
        return [one for one in found if one is not None]


def _unfinished(store: SqlStore, bench: AtBench) -> list[dict[str, Any]]:
    """Return the open runs on units that fit the bench, newest first."""
    tags = {known.asset.tag for known in AssetRegister(store.database).all()}
    rows = run_lists.runs(store.database, run_lists.Filter(verdict=run_lists.UNFINISHED))
    return [
        row
        for row in reversed(rows)
        if row["asset"] == bench.own_asset
        or (row["asset"] in tags and row["model"] in bench.models)
    ]


def _cut_short(store: SqlStore, row: dict[str, Any], bench: AtBench) -> CutShort | None:
    """Return a run with what its start says; None for a sweep, and for one of another bench."""
    started = start_of(store.database, row["number"])
    if started is None or started.bench != bench.name or started.work == "sweep":
        return None
    work = _WORK_OF.get(started.stages)
    if work is None:
        return None
    names = ("run_id", "asset", "model", "procedure", "operator")
    begun = begun_at(row["run_id"], str(row["at"]))
    return CutShort(**{name: row[name] for name in names}, begun=begun, work=work)
