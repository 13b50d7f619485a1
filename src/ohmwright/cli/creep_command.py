"""The command `record creep`: what is to be expected of each unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from rich.table import Table
from rich.text import Text

from ohmwright.api.output_file import refuse_no_picture, refuse_unwritable
from ohmwright.api.picture_file import write_picture
from ohmwright.model.errors import UsageError
from ohmwright.model.typed_command import typed_command
from ohmwright.records.asset_register import AssetRegister
from ohmwright.records.qualified import PointOfUnit, Qualified, qualified_points
from ohmwright.reports.text import four_digits, limits_words, percent_text, printable
from ohmwright.reports.verdict_grounds import RISK_NOTE, words_of_grounds
from ohmwright.wire.clock import RealClock

from .console import err, out, print_json
from .list_marks import mark_of, print_marks
from .open_records import open_records_for_reading
from .table_format import plain_table, with_whole_words

if TYPE_CHECKING:
    from ohmwright.fleet.creep_table import CreepRow, UnitCreep
    from ohmwright.fleet.fleet_forecast import FleetForecast


_EVER = datetime.max.replace(tzinfo=UTC)


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


def show_creep(choice: FleetChoice, request: CreepRequest) -> None:
    """Print the forecast of each unit, of each point for one unit; write the plot asked for."""
    from ohmwright.fleet.creep_plot import plot_creep
    from ohmwright.fleet.creep_table import RATE_NOTE, creep_rows, unit_creep

    if request.plot is not None:
        refuse_no_picture(request.plot, option="--plot", means="Nothing was computed.")
        refuse_unwritable(request.plot, overwrite=request.overwrite)
    at = RealClock().wall() if request.at is None else request.at
    forecast = chosen_forecast(choice)
    rows = creep_rows(forecast, at, probability=request.probability)
    with open_records_for_reading(choice.records) as store:
        left_out = AssetRegister(store.database).withdrawn()
        qualified = qualified_points(store.database, _EVER, simulated=choice.simulated)
    if choice.asset is None:
        rows = [row for row in rows if row.asset not in left_out]
    else:
        rows = [row for row in rows if row.asset == choice.asset]
    units, marked = unit_creep(rows), qualified.among(row.key for row in rows)
    if request.plot is not None:
        drawn = rows if choice.asset is not None else [unit.riskiest for unit in units]
        grounds = {row.key: words_of_grounds(row.key, marked) for row in drawn}
        figure = plot_creep(forecast, drawn, at, grounds, simulated=choice.simulated)
        write_picture(figure, request.plot)
    if request.as_json:
        print_json([row.cells() | marked.document(row.key) for row in rows])
        return
    table = _units_table if choice.asset is None else _points_table
    shown = table(units, at, f"{100 * request.probability:g} % by", marked)
    out().print(with_whole_words(shown))
    if any(row.is_creep_observed for row in rows):
        out().print(RATE_NOTE)
    print_marks(marked, RISK_NOTE)
    for row in rows:
        for remark in row.remarks:
            said = f"{row.asset} ({row.model}), {row.step} {row.point}: {remark}."
            out().print(Text(printable(said), style="yellow"))
    if request.plot is not None:
        out().print(Text(f"Written: {request.plot}"), soft_wrap=True)


def chosen_forecast(choice: FleetChoice) -> FleetForecast:
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
        do=f"Look at '{typed_command('record fleet')}'; --simulated shows simulated units.",
    )


def _units_table(
    units: Sequence[UnitCreep], at: datetime, by: str, marked: Qualified[PointOfUnit]
) -> Table:
    """Return the table of many units: each by its riskiest point, left when any point leaves."""
    table = _creep_table(at, "Unit", by, "Riskiest point")
    for unit in units:
        row = unit.riskiest
        point = printable(f"{row.step} {row.point}")
        mark = next(filter(None, (mark_of(one.key, marked) for one in unit.points)), "")
        cells = _cells(printable(row.asset), row, unit.leaves_text, point, mark)
        table.add_row(*map(Text, cells))
    return table


def _points_table(
    units: Sequence[UnitCreep], at: datetime, by: str, marked: Qualified[PointOfUnit]
) -> Table:
    """Return the table of all points of a unit, with their limits."""
    table = _creep_table(at, "Point", by, "Limits")
    for row in (row for unit in units for row in unit.points):
        limits = limits_words(row.limits.as_target)
        point = printable(f"{row.step} {row.point}")
        mark = mark_of(row.key, marked)
        table.add_row(*map(Text, _cells(point, row, row.leaves_text, limits, mark)))
    return table


def _creep_table(at: datetime, first: str, by: str, last: str) -> Table:
    names = (first, "Creep a year", "90 % within", "Out", by, last)
    table = plain_table(f"Expected on {at:%Y-%m-%d}", *names)
    for column in (table.columns[0], table.columns[-1]):
        column.no_wrap, column.overflow = False, "fold"
    return table


def _cells(first: str, row: CreepRow, leaves: str, last: str, mark: str) -> tuple[str, ...]:
    limits = row.limits.as_target
    return (
        first,
        row.rate_text,
        f"{four_digits(row.lower, limits)} to {four_digits(row.upper, limits)} {limits.unit}",
        f"{percent_text(row.risk)} %{mark}",
        leaves,
        last,
    )
