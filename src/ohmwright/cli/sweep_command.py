"""The command `sweep`: measure a power curve; print it as a table or JSON, write it as CSV."""

from __future__ import annotations

from contextlib import aclosing, suppress
from dataclasses import dataclass
from pathlib import Path

import anyio
from rich.progress import Progress

from ohmwright.api.bench_data import BenchChoice
from ohmwright.api.open_bench import open_bench
from ohmwright.api.output_file import refuse_unwritable
from ohmwright.engine.decidability import needed_after_age_s
from ohmwright.engine.sweep import SweepPoint, sweep
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import StopRun
from ohmwright.model.errors import OutOfCapability, UsageError
from ohmwright.model.step import Timing

from .console import CAUTION, err
from .signals import cancel_on_signal
from .sweep_output import SweepOrigin, print_sweep, write_sweep_csv

_AFTER_AGE_S = 9.0
"""An activation of a sweep may last so long beyond the age, or as long as the meter needs."""


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
    overwrite: bool
    as_json: bool


def run_sweep(request: SweepRequest) -> int:
    """Measure, print, write the CSV file; return 0, or 4 if stopped or a point did not settle.

    Raises UsageError, before anything is opened, where the CSV file cannot be made.
    """
    data = request.bench.read()
    settings_w = _numbers("--settings", request.settings)
    if request.csv is not None:
        refuse_unwritable(request.csv, overwrite=request.overwrite)
    if data.file.simulation is None:
        err().print(CAUTION, style="yellow")

    async def work() -> tuple[list[SweepPoint], SweepOrigin, int]:
        async with open_bench(data, unattended=False, guarded=request.bench.guarded) as bench:
            loads_ohm = _loads(request, bench)
            origin = await _origin(request, bench)
            points = await _sweep(request, bench, settings_w, loads_ohm)
            return points, origin, len(settings_w) * len(loads_ohm)

    points, origin, wanted = anyio.run(work)
    print_sweep(points, origin, as_json=request.as_json)
    if request.csv is not None:
        write_sweep_csv(request.csv, points, origin)
    whole = len(points) == wanted and all(point.settled for point in points)
    return 0 if whole else 4


async def _origin(request: SweepRequest, bench: Bench) -> SweepOrigin:
    return SweepOrigin(
        seed=bench.seed,
        analyzer=await bench.analyzer.identify(),
        asset=bench.asset,
        begun_at=bench.clock.wall(),
        age_s=request.age_s,
    )


async def _sweep(
    request: SweepRequest, bench: Bench, settings_w: list[float], loads_ohm: list[float]
) -> list[SweepPoint]:
    after_s = max(_AFTER_AGE_S, needed_after_age_s(bench.analyzer.data.meter))
    timing = Timing(age_s=request.age_s, rest_s=request.rest_s, max_on_s=request.age_s + after_s)
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
            try:
                async for point in points:
                    found.append(point)
                    progress.advance(task)
            except OutOfCapability as refused:
                raise _as_options(refused) from None
    return found


def _as_options(refused: OutOfCapability) -> OutOfCapability:
    """Return `refused` with the options to correct: a sweep has no procedure."""
    return OutOfCapability(
        refused.happened,
        refused.means,
        "Correct --mode, --settings, --loads or --age, or use another analyzer.",
    )


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
