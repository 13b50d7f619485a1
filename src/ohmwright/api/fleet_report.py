"""The fleet report: what a span of time or a campaign brought, what recurs, what is due."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from ohmwright.fleet.creep_table import CreepRow, creep_rows, riskiest_of_each
from ohmwright.fleet.fleet_forecast import FleetForecast
from ohmwright.fleet.fleet_review import FleetReview, fleet_review
from ohmwright.model.errors import UsageError
from ohmwright.records.parquet import imported_pyarrow
from ohmwright.records.queries import fetch_rows, reported_results
from ohmwright.records.sql_store import SqlStore
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


@dataclass(frozen=True)
class FleetReport:
    """The facts of a report."""

    span: ReportSpan
    review: FleetReview
    forecast: FleetForecast
    rows: tuple[CreepRow, ...]
    """The forecast of each point of each unit at the end of the span, the riskiest first."""
    ahead: tuple[CreepRow, ...]
    """The same a year later."""

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
                f"{path}: a fleet report is no file with this ending.",
                do=f"Give a name that ends in {', '.join(FORMS)}.",
            )

    def due(self) -> list[tuple[CreepRow, float]]:
        """Return the riskiest point of each unit with the unit's risk a year later."""
        later = {row.asset: row.risk for row in riskiest_of_each(list(self.ahead))}
        return [(row, later[row.asset]) for row in riskiest_of_each(list(self.rows))]

    def table(self) -> list[dict[str, Any]]:
        """Return one row for each point of each unit, for a spreadsheet or an analysis."""
        later = {(row.asset, row.step, row.point): row.risk for row in self.ahead}
        return [
            self._cells(row, later[row.asset, row.step, row.point])
            for row in sorted(self.rows, key=lambda row: (row.asset, row.step, row.point))
        ]

    def _cells(self, row: CreepRow, later: float) -> dict[str, Any]:
        key = (row.asset, row.step, row.point)
        failed = sum((one.asset, one.step, one.point) == key for one in self.review.failures)
        recurs = [one for one in self.review.recurring if (one.asset, one.step, one.point) == key]
        return {
            "asset": row.asset,
            "model": row.model,
            "step": row.step,
            "point": row.point,
            "quantity": row.limits.quantity,
            "target": row.limits.target,
            "lower": None if row.limits.one_sided else row.limits.lower,
            "upper": row.limits.upper,
            "last_at": f"{row.last_at:%Y-%m-%d}",
            "last_value": row.last_value,
            "failed_as_found": failed,
            "failed_as_found_ever": len(recurs[0].dates) if recurs else failed,
            "unit_adjusted": sum(one.asset == row.asset for one in self.review.adjusted),
            "rate_percent_a_year": row.rate_percent,
            "rate_sd_percent_a_year": row.rate_percent_sd,
            "expected": row.expected,
            "expected_from": row.lower,
            "expected_to": row.upper,
            "probability_out": row.risk,
            "probability_out_a_year_later": later,
            "leaves_at": None if row.leaves_at is None else f"{row.leaves_at:%Y-%m-%d}",
            "probability_unlike_model": row.unlike,
            "remarks": ", ".join(row.remarks),
            "simulated": self.span.simulated,
        }


def fleet_report(store: SqlStore, span: ReportSpan) -> FleetReport:
    """Return the report of a span. Raises UsageError where it has no results."""
    results = reported_results(span.simulated, span.since, span.until)
    review = fleet_review(fetch_rows(store.database, results), span.since, span.run_ids)
    if not review.models:
        kind = "simulated" if span.simulated else "real"
        raise UsageError(
            f"There are no results of {kind} units from {span.since:%Y-%m-%d} to before "
            f"{span.until:%Y-%m-%d}.",
            "Nothing was written.",
            "Look at 'ohmwright record list'; --simulated shows simulated units.",
        )
    forecast = recorded_forecast(store, simulated=span.simulated)
    seen = _units_of(review, forecast, span)
    rows, ahead = (
        tuple(row for row in creep_rows(forecast, at) if seen is None or row.asset in seen)
        for at in (span.until, span.until + _AHEAD)
    )
    return FleetReport(span, review, forecast, rows, ahead)


def _units_of(
    review: FleetReview, forecast: FleetForecast, span: ReportSpan
) -> Collection[str] | None:
    """Return the units that a campaign was about; None for every unit on record."""
    if span.run_ids is None:
        return None
    return {asset for asset in forecast.assets if asset in review.assets}
