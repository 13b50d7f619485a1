"""The fleet report: what a span of time or a campaign brought, what recurs, what is at risk."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

from ohmwright.fleet.creep_table import (
    RISKY,
    CreepRow,
    UnitCreep,
    creep_rows,
    unit_creep,
)
from ohmwright.fleet.fleet_forecast import FleetForecast
from ohmwright.fleet.fleet_review import Failure, FleetReview, Recurrence, fleet_review
from ohmwright.model.errors import UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.parquet import imported_pyarrow
from ohmwright.records.qualified import PointOfUnit, Qualified, qualified_points
from ohmwright.records.queries import (
    adjust_events,
    fetch_rows,
    reported_results,
    void_runs,
)
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.witness_file import ChainPosition
from ohmwright.reports.csv_file import csv_of_rows

from .creep import recorded_forecast
from .fleet_paper import fleet_paper

FORMS = (".pdf", ".html", ".csv", ".parquet")
"""Endings of the files that a fleet report can be."""
_AHEAD = timedelta(days=365)


@dataclass(frozen=True)
class ReportSpan:
    """What a report is of: runs from `since` to before `until`, or some of them."""

    since: datetime
    until: datetime
    simulated: bool
    campaign: str = ""
    run_ids: Collection[str] | None = None
    """None is all runs of the span."""

    @property
    def words(self) -> str:
        """The span as dates; a day that is not over at its end has the time (UTC)."""
        whole = self.until.timetz() == time(tzinfo=UTC)
        end = f"{self.until:%Y-%m-%d}" if whole else f"{self.until:%Y-%m-%d %H:%M} UTC"
        return f"{self.since:%Y-%m-%d} to before {end}"


@dataclass(frozen=True)
class FleetReport:
    """The facts of a report."""

    span: ReportSpan
    review: FleetReview
    forecast: FleetForecast
    rows: tuple[CreepRow, ...]
    """The forecast of each point of each unit at the end of the span, by what was measured before
    it; the riskiest first."""
    marked: Qualified[PointOfUnit]
    """The points of units with a value that no analyzer certificate in date covers; their forecast,
    too."""
    withdrawn: Collection[str]
    """Units that are not used any more: what was done counts, nothing is foretold."""
    not_seen: int
    """Units in use by the register without a result in the span; 0 of a campaign, whose status says
    what is left."""
    void_runs: int
    """Void runs of the span, which are left out."""
    records: ChainPosition
    """The newest entry of the records when it was begun to be made."""

    def write(self, path: Path) -> None:
        """Write it as what the ending of `path` says; raises UsageError for another one."""
        form = path.suffix.lower()
        if form == ".csv":
            path.write_bytes(csv_of_rows(self.table()))
        elif form == ".parquet":
            pa = imported_pyarrow()
            pa.parquet.write_table(pa.Table.from_pylist(self.table()), path)
        elif form in FORMS:
            paper = fleet_paper(self)
            content = paper.html().encode() if form == ".html" else paper.pdf(self.span.until)
            path.write_bytes(content)
        else:
            raise UsageError(
                f"{path}: a fleet report cannot be written with this ending.",
                do=f"Give a name that ends in {', '.join(FORMS)}.",
            )

    def in_use(self) -> list[CreepRow]:
        """Return the forecast of each point of the units that are not withdrawn."""
        return [row for row in self.rows if row.asset not in self.withdrawn]

    def units(self) -> list[UnitCreep]:
        """Return each unit in use, the riskiest first."""
        return unit_creep(self.in_use())

    def at_risk(self) -> list[UnitCreep]:
        """Return the units in use that any point may leave within the year, as `units` does.

        As `record creep` tells it: the risk has reached 10 %, or will within the year.
        """
        end = self.span.until + _AHEAD
        return [
            unit
            for unit in self.units()
            if unit.risk.within_year >= RISKY
            or (unit.leaves_at is not None and unit.leaves_at <= end)
        ]

    def is_marked(self, row: CreepRow) -> bool:
        """Return whether a forecast rests on values that are to be qualified."""
        return row.key in self.marked

    def table(self) -> list[dict[str, Any]]:
        """Return one row for each point of each unit, for a spreadsheet or an analysis."""
        failed = Counter(_key(one) for one in self.review.failures)
        ever = {_key(one): len(one.dates) for one in self.review.recurring}
        adjusted = Counter(one.asset for one in self.review.adjusted)
        return [
            row.cells()
            | {
                "failed_as_found": failed[row.key],
                "failed_as_found_ever": ever.get(row.key, failed[row.key]),
                "unit_adjusted": adjusted[row.asset],
                **self.marked.document(row.key),
                "withdrawn": row.asset in self.withdrawn,
                "simulated": self.span.simulated,
                "records_entry": self.records.number,
                "records_hash": self.records.hash.hex(),
            }
            for row in sorted(self.rows, key=lambda row: row.key)
        ]


def _key(of: Failure | Recurrence) -> PointOfUnit:
    """Return which point of which unit something is of."""
    return of.asset, of.step, of.point


def fleet_report(store: SqlStore, span: ReportSpan) -> FleetReport:
    """Return the report of a span. Raises UsageError where it has no results."""
    newest = store.newest_entry()
    results = reported_results(span.simulated, span.since, span.until)
    unmoved = _unmoved(store, span)
    rows_seen = fetch_rows(store.database, results)
    moved = [row for row in rows_seen if (row.run, row.event) not in unmoved]
    review = fleet_review(moved, span.since, span.run_ids)
    if not review.models:
        kind = "simulated" if span.simulated else "real"
        raise UsageError(
            f"There are no results of {kind} units from {span.words}.",
            "Nothing was written.",
            f"Look at '{typed_command('record list')}'; --simulated shows simulated units.",
        )
    forecast = recorded_forecast(store, simulated=span.simulated, before=span.until)
    seen = _units_of(review, forecast, span)
    rows = creep_rows(forecast, span.until, probability=RISKY)
    shown = tuple(row for row in rows if seen is None or row.asset in seen)
    return FleetReport(
        span=span,
        review=review,
        forecast=forecast,
        rows=shown,
        marked=qualified_points(store.database, span.until, simulated=span.simulated),
        withdrawn=AssetRegister(store.database).withdrawn(),
        not_seen=0 if span.run_ids is not None else _not_seen(store, review),
        void_runs=_void_runs(store, span),
        records=newest,
    )


def _not_seen(store: SqlStore, review: FleetReview) -> int:
    known = (one.asset for one in AssetRegister(store.database).all())
    return sum(asset.in_use and asset.tag not in review.assets for asset in known)


def _void_runs(store: SqlStore, span: ReportSpan) -> int:
    found = fetch_rows(store.database, void_runs(span.simulated, span.since, span.until))
    return sum(span.run_ids is None or row.run_id in span.run_ids for row in found)


def _unmoved(store: SqlStore, span: ReportSpan) -> set[tuple[int, int]]:
    """Return run and event of each result of an adjustment point whose trim was left as it was."""
    events = fetch_rows(store.database, adjust_events(span.simulated, span.since, span.until))
    return {(row.run, row.event) for row in events if was_left_as_it_was(row.body)}


def was_left_as_it_was(body: bytes) -> bool:
    """Whether the result in an event's JSON says that the trim ended where it began."""
    result = json.loads(body)["result"]
    start, final = result.get("start_trim"), result.get("final_trim")
    return start is not None and start == final


def _units_of(
    review: FleetReview, forecast: FleetForecast, span: ReportSpan
) -> Collection[str] | None:
    """Return the units that a campaign was about; None for every unit on record."""
    if span.run_ids is None:
        return None
    return {asset for asset in forecast.assets if asset in review.assets}
