"""The command `sweep`: measure a power curve; print it as a table or JSON, write it as CSV."""

from __future__ import annotations

import csv
from contextlib import aclosing, suppress
from dataclasses import dataclass
from pathlib import Path

import anyio
from rich.progress import Progress
from rich.table import Table

from ohmwright.engine.sweep import SweepPoint, sweep
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import StopRun
from ohmwright.model.errors import UsageError
from ohmwright.model.step import Timing

from .bench_data import BenchChoice
from .console import CAUTION, err, out, print_json
from .open_bench import open_bench
from .signals import cancel_on_signal

_COLUMNS = (
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
class SweepRequest:
    """A sweep as asked for on the command line; `settings` in W and `loads` in ohm as text."""

    bench: BenchChoice
    mode: str
    settings: str
    loads: str
    age_s: float
    rest_s: float
    csv: Path | None
    as_json: bool


def run_sweep(request: SweepRequest) -> int:
    """Measure, print, write the CSV file; return 0, or 4 if stopped or a point did not settle."""
    data = request.bench.read()
    settings_w = _numbers("--settings", request.settings)
    if data.file.simulation is None:
        err().print(CAUTION, style="yellow")

    async def work() -> tuple[list[SweepPoint], int]:
        async with open_bench(data, unattended=False, guarded=request.bench.guarded) as bench:
            loads_ohm = _loads(request, bench)
            points = await _sweep(request, bench, settings_w, loads_ohm)
            return points, len(settings_w) * len(loads_ohm)

    points, wanted = anyio.run(work)
    rows = [_row(point) for point in points]
    if request.csv is not None:
        _write_csv(request.csv, rows)
    _print(rows, as_json=request.as_json)
    whole = len(points) == wanted and all(point.settled for point in points)
    return 0 if whole else 4


async def _sweep(
    request: SweepRequest, bench: Bench, settings_w: list[float], loads_ohm: list[float]
) -> list[SweepPoint]:
    timing = Timing(age_s=request.age_s, rest_s=request.rest_s, max_on_s=request.age_s + 9.0)
    found: list[SweepPoint] = []
    with (
        Progress(console=err(), transient=True, disable=not err().is_terminal) as progress,
        cancel_on_signal(),
        suppress(StopRun),
    ):
        task = progress.add_task("sweep", total=len(settings_w) * len(loads_ohm))
        points = sweep(
            bench, mode=request.mode, settings_w=settings_w, loads_ohm=loads_ohm, timing=timing
        )
        async with aclosing(points):
            async for point in points:
                found.append(point)
                progress.advance(task)
    return found


def _loads(request: SweepRequest, bench: Bench) -> list[float]:
    if request.loads:
        return _numbers("--loads", request.loads)
    return list(bench.analyzer.data.load_bank.loads_ohm)


def _numbers(option: str, text: str) -> list[float]:
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise UsageError(
            f"{option} {text}: these are no numbers separated by commas.", do="Write 100,200,300."
        ) from None


def _row(point: SweepPoint) -> dict[str, str | float | bool]:
    values = {name: getattr(point, name) for name in _COLUMNS}
    return {n: round(v, 4) if isinstance(v, float) else v for n, v in values.items()}


def _print(rows: list[dict[str, str | float | bool]], *, as_json: bool) -> None:
    if as_json:
        print_json(rows)
        return
    table = Table("Mode", "Setting", "Load", "Current", "± (k=2)", "Power", "Voltage")
    for row in rows:
        table.add_row(
            str(row["mode"]),
            f"{row['setting_w']:g} W",
            f"{row['load_ohm']:g} ohm",
            f"{row['current_ma']:.1f} mA" + ("" if row["settled"] else " (unsettled)"),
            f"{2 * float(row['uncertainty_ma']):.1f}",
            f"{row['power_w']:.1f} W",
            f"{row['voltage_v']:.0f} V",
        )
    out().print(table)
    if not all(row["certified"] for row in rows):
        out().print("No analyzer certificate in date: uncertainties are of the readings alone.")


def _write_csv(path: Path, rows: list[dict[str, str | float | bool]]) -> None:
    try:
        with path.open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, _COLUMNS)
            writer.writeheader()
            writer.writerows(rows)
    except OSError as problem:
        raise UsageError(f"{path}: cannot be written: {problem.strerror}.") from None
