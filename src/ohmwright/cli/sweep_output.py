"""What the command `sweep` has found: as a table, as JSON and as CSV."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from rich.table import Table
from rich.text import Text

from ohmwright.engine.sweep import SweepPoint
from ohmwright.model.bench_file import Asset
from ohmwright.model.errors import UsageError
from ohmwright.reports.csv_file import Cell, spreadsheet_safe
from ohmwright.reports.text import printable

from .console import out, print_json
from .run_summary import simulated_line, unit_line

_MEASURED = (
    "mode",
    "setting_w",
    "load_ohm",
    "current_ma",
    "uncertainty_ma",
    "power_w",
    "voltage_v",
    "settled",
    "certified",
    "on_s",
)


@dataclass(frozen=True)
class SweepOrigin:
    """What was measured with what, and when; the same for every point of a sweep."""

    seed: int | None
    """The simulated unit's; None for a real bench."""
    analyzer: str
    """As the instrument identifies itself."""
    asset: Asset
    begun_at: datetime
    """By the bench's clock."""
    age_s: float

    def cells(self) -> dict[str, Cell]:
        """The columns that follow those of a point."""
        return {
            "simulated_seed": self.seed,
            "analyzer": self.analyzer,
            "unit": self.asset.id,
            "unit_model": self.asset.model,
            "unit_serial": self.asset.serial,
            "date": f"{self.begun_at:%Y-%m-%d}",
            "age_s": self.age_s,
        }


def print_sweep(points: Sequence[SweepPoint], origin: SweepOrigin, *, as_json: bool) -> None:
    """Print the points as a table under what they were measured on, or as one JSON document."""
    if as_json:
        print_json([_row(point, origin) for point in points])
        return
    _print_origin(origin)
    out().print(_table(points))
    if not all(point.certified for point in points):
        out().print("No analyzer certificate in date: uncertainties are of the readings alone.")


def write_sweep_csv(path: Path, points: Sequence[SweepPoint], origin: SweepOrigin) -> None:
    """Write one row for each point. Raises UsageError where the file cannot be written."""
    names = [*_MEASURED, *origin.cells()]
    try:
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.writer(file)
            writer.writerow(names)
            writer.writerows([_cell(cell) for cell in _row(p, origin).values()] for p in points)
    except OSError as problem:
        raise UsageError(f"{path}: cannot be written: {problem.strerror}.") from None


def _row(point: SweepPoint, origin: SweepOrigin) -> dict[str, Cell]:
    values = {name: getattr(point, name) for name in _MEASURED}
    rounded = {n: round(v, 4) if isinstance(v, float) else v for n, v in values.items()}
    return rounded | origin.cells()


def _cell(value: Cell) -> Cell:
    return spreadsheet_safe(value) if isinstance(value, str) else value


def _print_origin(origin: SweepOrigin) -> None:
    out().print(Text(unit_line(origin.asset)), soft_wrap=True)
    out().print(Text(printable(f"Analyzer {origin.analyzer}")), soft_wrap=True)
    if origin.seed is not None:
        out().print(simulated_line(origin.seed))


def _table(points: Sequence[SweepPoint]) -> Table:
    table = Table("Mode", "Setting", "Load", "Current", "± (k=2)", "Power", "Voltage")
    for point in points:
        table.add_row(
            point.mode,
            f"{point.setting_w:g} W",
            f"{point.load_ohm:g} ohm",
            f"{point.current_ma:.1f} mA" + ("" if point.settled else " (unsettled)"),
            f"{2 * point.uncertainty_ma:.1f}",
            f"{point.power_w:.1f} W",
            f"{point.voltage_v:.0f} V",
        )
    return table
