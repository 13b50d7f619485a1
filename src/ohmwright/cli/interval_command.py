"""The command `record interval`: how long each unit may go until its next visit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from ohmwright.model.errors import UsageError
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.last_runs import decisive_runs
from ohmwright.reports.text import percent_text, printable
from ohmwright.wire.clock import RealClock

from .console import out, print_json
from .creep_command import FleetChoice, chosen_forecast
from .open_records import open_records_for_reading
from .table_format import plain_table, with_whole_words

if TYPE_CHECKING:
    from ohmwright.fleet.interval_advice import Costs
    from ohmwright.fleet.unit_intervals import UnitInterval


@dataclass(frozen=True)
class IntervalRequest:
    """What `record interval` was asked for; intervals in months."""

    target: float
    shortest_months: float
    longest_months: float
    visit_cost: float | None
    year_out_cost: float | None
    as_json: bool


def show_intervals(choice: FleetChoice, request: IntervalRequest) -> None:
    """Print the interval that each unit may have, and one for all units of each model."""
    from ohmwright.fleet.interval_advice import AllowedIntervals
    from ohmwright.fleet.unit_intervals import IntervalQuestion, unit_intervals

    if request.shortest_months > request.longest_months:
        raise UsageError(
            f"--shortest-months {request.shortest_months:g} is more than --longest-months "
            f"{request.longest_months:g}."
        )
    costs = _costs(request)
    forecast = chosen_forecast(choice)
    with open_records_for_reading(choice.records) as store:
        decisive = decisive_runs(store.database, simulated=choice.simulated)
        withdrawn = AssetRegister(store.database).withdrawn()
    asked = IntervalQuestion(
        request.target,
        AllowedIntervals(request.shortest_months / 12, request.longest_months / 12),
        costs,
        now=RealClock().wall(),
        failed=frozenset(tag for tag, run in decisive.items() if run.verdict == "fail"),
        withdrawn=withdrawn,
    )
    rows = unit_intervals(forecast, asked)
    rows = [row for row in rows if choice.asset in (None, row.asset)]
    if request.as_json:
        print_json([_json(row) for row in rows])
        return
    for model, of_model in groupby(rows, key=lambda row: row.model):
        out().print(with_whole_words(_table(model, list(of_model), asked.now)))


def _costs(request: IntervalRequest) -> Costs | None:
    from ohmwright.fleet.interval_advice import Costs

    if request.visit_cost is not None and request.year_out_cost is not None:
        return Costs(request.visit_cost, request.year_out_cost)
    if request.visit_cost is None and request.year_out_cost is None:
        return None
    raise UsageError("A cost alone says nothing.", do="Give both --visit-cost and --year-out-cost.")


def _json(row: UnitInterval) -> dict[str, Any]:
    return {
        "asset": row.asset,
        "model": row.model,
        "months": row.months,
        "reliability": row.reliability,
        "held_to_longest": row.held,
        "next_visit": None if row.next_visit is None else f"{row.next_visit:%Y-%m-%d}",
        "due_now": row.due_now,
        "cheapest_months": row.cheapest_months,
    }


def _table(model: str, rows: Sequence[UnitInterval], now: datetime) -> Table:
    costs = ("Cheapest",) if any(row.cheapest_months is not None for row in rows) else ()
    table = plain_table(
        printable(model), "Unit", "Months", *costs, "Next visit", "In tolerance", ""
    )
    for column in table.columns[1 : 2 + len(costs)]:
        column.justify = "right"
    for row in rows:
        cheapest = (f"{row.cheapest_months or 0.0:.0f}",) if costs else ()
        cells = (
            "all units" if row.asset is None else printable(row.asset),
            f"{row.months:.0f}",
            *cheapest,
            "" if row.next_visit is None else f"{row.next_visit:%Y-%m-%d}",
            "" if row.reliability is None else f"{percent_text(row.reliability)} %",
            _remark(row, now),
        )
        style = "bold" if row.asset is None else "yellow" if row.due_now else ""
        table.add_row(*map(Text, cells), style=style)
    return table


def _remark(row: UnitInterval, now: datetime) -> str:
    if row.due_now:
        return f"due now: {row.due_now}"
    if row.next_visit is not None and row.next_visit <= now:
        return "overdue"
    return "held to the longest" if row.held else ""
