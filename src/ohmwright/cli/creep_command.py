"""The commands `record creep` and `record interval`: what is to be expected of each unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.table import Table
from rich.text import Text

from ohmwright.api.output_file import refuse_no_picture, refuse_unwritable
from ohmwright.model.errors import UsageError
from ohmwright.model.quantity import unit_of
from ohmwright.reports.text import printable
from ohmwright.wire.clock import RealClock

from .console import err, out, print_json
from .open_records import open_records_for_reading
from .table_format import plain_table

if TYPE_CHECKING:
    from ohmwright.fleet.creep_table import CreepRow
    from ohmwright.fleet.fleet_forecast import FleetForecast
    from ohmwright.fleet.unit_intervals import UnitInterval


@dataclass(frozen=True)
class FleetChoice:
    """Which units are looked at: those of one model, or one of them; real or simulated ones."""

    records: str | None
    model: str | None
    asset: str | None
    simulated: bool


@dataclass(frozen=True)
class CreepRequest:
    """What `record creep` was asked for."""

    at: datetime | None
    probability: float
    plot: Path | None
    overwrite: bool
    as_json: bool


@dataclass(frozen=True)
class IntervalRequest:
    """What `record interval` was asked for; intervals in months."""

    target: float
    shortest_months: float
    longest_months: float
    visit_cost: float | None
    year_out_cost: float | None
    as_json: bool


def show_creep(choice: FleetChoice, request: CreepRequest) -> None:
    """Print the forecast of each unit, of each point for one unit; write the plot asked for."""
    from ohmwright.fleet.creep_plot import plot_creep
    from ohmwright.fleet.creep_table import creep_rows, riskiest_of_each

    if request.plot is not None:
        refuse_no_picture(request.plot, option="--plot", means="Nothing was computed.")
        refuse_unwritable(request.plot, overwrite=request.overwrite)
    at = RealClock().wall() if request.at is None else request.at
    forecast = _forecast(choice)
    rows = creep_rows(forecast, at, probability=request.probability)
    rows = [row for row in rows if choice.asset in (None, row.asset)]
    shown = rows if choice.asset is not None else riskiest_of_each(rows)
    if request.plot is not None:
        figure = plot_creep(forecast, shown, at, simulated=choice.simulated)
        figure.savefig(request.plot, dpi=150)
    if request.as_json:
        print_json([_creep_json(row) for row in rows])
        return
    one_unit = choice.asset is not None
    out().print(_creep_table(shown, at, request.probability, one_unit=one_unit))
    for row in rows:
        for remark in row.remarks:
            said = f"{row.asset} ({row.model}), {row.step} {row.point}: {remark}."
            out().print(Text(printable(said), style="yellow"))
    if request.plot is not None:
        out().print(Text(f"Written: {request.plot}"), soft_wrap=True)


def show_intervals(choice: FleetChoice, request: IntervalRequest) -> None:
    """Print the interval that each unit may have, and one for all units of each model."""
    from ohmwright.fleet.interval_advice import AllowedIntervals, Costs
    from ohmwright.fleet.unit_intervals import unit_intervals

    if request.shortest_months > request.longest_months:
        raise UsageError(
            f"--shortest-months {request.shortest_months:g} is more than --longest-months "
            f"{request.longest_months:g}."
        )
    if (request.visit_cost is None) != (request.year_out_cost is None):
        raise UsageError(
            "A cost alone says nothing.", do="Give both --visit-cost and --year-out-cost."
        )
    costs = None
    if request.visit_cost is not None and request.year_out_cost is not None:
        costs = Costs(request.visit_cost, request.year_out_cost)
    allowed = AllowedIntervals(request.shortest_months / 12, request.longest_months / 12)
    rows = unit_intervals(_forecast(choice), request.target, allowed, costs)
    rows = [row for row in rows if choice.asset in (None, row.asset)]
    if request.as_json:
        print_json([_interval_json(row) for row in rows])
        return
    for model, of_model in groupby(rows, key=lambda row: row.model):
        out().print(_interval_table(model, list(of_model)))


def _forecast(choice: FleetChoice) -> FleetForecast:
    """Return the forecast of the units chosen. Raises UsageError where there are none."""
    from ohmwright.api.creep import recorded_forecast

    said = err().status("Learning how the units creep, about a second for each point")
    with open_records_for_reading(choice.records) as store, said:
        forecast = recorded_forecast(store, simulated=choice.simulated, model=choice.model)
        if forecast.assets and choice.asset in (None, *forecast.assets):
            return forecast
    kind = "simulated" if choice.simulated else "real"
    of = f" of asset {choice.asset}" if choice.asset else ""
    of += f" of model {choice.model}" if choice.model else ""
    raise UsageError(
        printable(f"There are no values{of} with limits, as found or as left, of {kind} units."),
        do="Look at 'ohmwright record fleet'; --simulated shows simulated units.",
    )


def _creep_json(row: CreepRow) -> dict[str, Any]:
    return {
        "asset": row.asset,
        "model": row.model,
        "step": row.step,
        "point": row.point,
        "quantity": row.limits.quantity,
        "target": row.limits.target,
        "lower_limit": None if row.limits.one_sided else row.limits.lower,
        "upper_limit": row.limits.upper,
        "last_at": row.last_at.isoformat(),
        "last_value": row.last_value,
        "rate_percent_a_year": row.rate_percent,
        "rate_sd_percent_a_year": row.rate_percent_sd,
        "expected": row.expected,
        "interval_90": [row.lower, row.upper],
        "probability_out": row.risk,
        "leaves_at": None if row.leaves_at is None else f"{row.leaves_at:%Y-%m-%d}",
        "probability_unlike_model": row.unlike,
        "newest_surprise_sd": row.surprise,
        "remarks": list(row.remarks),
    }


def _creep_table(
    rows: Sequence[CreepRow], at: datetime, probability: float, *, one_unit: bool
) -> Table:
    """Return the table of rows: of one unit with its limits, of many with their names."""
    by = f"{100 * probability:g} % by"
    first, last = ("Point", "Limits") if one_unit else ("Unit", "Point")
    names = (first, "Creep a year", "90 % within", "Out", by, last)
    table = plain_table(f"Expected on {at:%Y-%m-%d}", *names)
    for column in (table.columns[0], table.columns[-1]):
        column.no_wrap, column.overflow = False, "fold"
    for row in rows:
        unit = unit_of(row.limits.quantity).symbol
        low = "up" if row.limits.one_sided else f"{row.limits.lower:.4g}"
        point = Text(printable(f"{row.step} {row.point}"))
        limits = f"{low} to {row.limits.upper:.4g} {unit}"
        table.add_row(
            point if one_unit else Text(printable(row.asset)),
            f"{row.rate_percent:+.1f} ± {row.rate_percent_sd:.1f} %",
            f"{row.lower:.4g} to {row.upper:.4g} {unit}",
            _percent(row.risk),
            "" if row.leaves_at is None else f"{row.leaves_at:%Y-%m-%d}",
            limits if one_unit else point,
        )
    return table


def _percent(share: float) -> str:
    """Return a probability in %, never rounded to 0 or 100."""
    if share < 0.001:
        return "<0.1 %"
    return ">99.9 %" if share > 0.999 else f"{100 * share:.1f} %"


def _interval_json(row: UnitInterval) -> dict[str, Any]:
    return {
        "asset": row.asset,
        "model": row.model,
        "months": row.months,
        "reliability": row.reliability,
        "held_to_longest": row.held,
        "next_visit": None if row.next_visit is None else f"{row.next_visit:%Y-%m-%d}",
        "cheapest_months": row.cheapest_months,
    }


def _interval_table(model: str, rows: Sequence[UnitInterval]) -> Table:
    costs = any(row.cheapest_months is not None for row in rows)
    names = ("Unit", "Interval", "Next visit", "In tolerance then", "")
    table = plain_table(printable(model), *names, *(("Cheapest",) if costs else ()))
    for row in rows:
        cells = [
            "all units" if row.asset is None else printable(row.asset),
            f"{row.months:.0f} months",
            f"{row.next_visit:%Y-%m-%d}" if row.next_visit is not None else "",
            _percent(row.reliability),
            "held to the longest" if row.held else "",
        ]
        cells += [f"{row.cheapest_months:.0f} months"] if row.cheapest_months is not None else []
        table.add_row(*map(Text, cells), style="bold" if row.asset is None else "")
    return table
