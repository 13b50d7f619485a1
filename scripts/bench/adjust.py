"""Adjusting, measured on simulated units beside an oracle and the usual ways of doing it.

    python scripts/bench/adjust.py --units 2000 --seed 1 [--profile FILE.toml] [--only NAME]

Prints one table, each figure beside its bar, and one JSON line.
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import TypeVar

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

from rich.console import Console  # noqa: E402
from rich.progress import Progress, TaskID  # noqa: E402

from ohmwright.adjustment.point import PointSpec  # noqa: E402
from ohmwright.adjustment.policy import AdjustPolicy  # noqa: E402
from scripts.bench import fleet, rows, verifying  # noqa: E402
from scripts.bench.baselines import BASELINES, Scripted  # noqa: E402
from scripts.bench.oracle import oracle_time  # noqa: E402
from scripts.bench.plant import Plant  # noqa: E402
from scripts.bench.population import Profile, draw, overridden  # noqa: E402
from scripts.bench.runner import Outcome, run  # noqa: E402
from scripts.bench.scenarios import Scenario, scenarios  # noqa: E402
from scripts.bench.verifying import question_of  # noqa: E402

T = TypeVar("T")
_CHUNK = 50
_BASELINE_UNITS = 1000
_UNITS_A_MODEL = 20
"""One model is learned and compared for so many units asked for."""


@dataclass(frozen=True)
class Measured:
    """One unit's outcome and what the oracle needs for the same unit."""

    outcome: Outcome
    oracle_s: float
    oracle_looking_again_s: float


def adjust(scenario: Scenario, seed: int, index: int) -> Measured:
    """Adjust one unit by the policy."""
    unit, rng = draw(scenario.profile, seed, index)
    spec = PointSpec(question_of(unit), unit.timeout_s, unit.rest_s, scenario.keys)
    oracle = oracle_time(unit)
    outcome = run(AdjustPolicy(spec), Plant(unit, rng))
    return Measured(outcome, oracle.rf_on_s, oracle.rf_on_looking_again_s)


def adjust_by(baseline: str, scenario: Scenario, seed: int, index: int) -> Measured:
    """Adjust one unit the way a baseline does."""
    unit, rng = draw(scenario.profile, seed, index)
    oracle = oracle_time(unit)
    outcome = run(Scripted(BASELINES[baseline](unit)), Plant(unit, rng))
    return Measured(outcome, oracle.rf_on_s, oracle.rf_on_looking_again_s)


def _measure_all(
    pool: ProcessPoolExecutor,
    bar: Progress,
    task: TaskID,
    work: Callable[[int], T],
    units: int,
    chunk: int = _CHUNK,
) -> list[T]:
    done = []
    for measured in pool.map(work, range(units), chunksize=chunk):
        done.append(measured)
        bar.advance(task)
    return done


def main() -> None:
    """Run what the command line asks for."""
    options = _options()
    nominal = Profile() if options.profile is None else overridden(Profile(), options.profile)
    console = Console(stderr=True)
    results: dict[str, list[Measured]] = {}
    verified: list[verifying.Verified] = []
    compared: list[fleet.Compared] = []
    wanted = [s for s in scenarios(nominal) if options.only is None or options.only in s.name]
    with ProcessPoolExecutor(options.jobs) as pool, Progress(console=console) as bar:
        for scenario in wanted:
            units = max(1, round(options.units * scenario.share))
            task = bar.add_task(scenario.name, total=units)
            one = partial(adjust, scenario, options.seed)
            results[scenario.name] = _measure_all(pool, bar, task, one, units)
        if options.only is None or options.only in "verification":
            task = bar.add_task("verification points", total=options.units)
            point = partial(verifying.verify, nominal, options.seed)
            verified = _measure_all(pool, bar, task, point, options.units)
        if options.only is None or options.only in "fleet prior":
            models = max(1, options.units // _UNITS_A_MODEL)
            task = bar.add_task("fleet prior, models", total=models)
            model = partial(fleet.compare, nominal, options.seed)
            compared = _measure_all(pool, bar, task, model, models, chunk=1)
        if options.only is None or options.only in "baselines":
            units = min(options.units, _BASELINE_UNITS)
            for name in BASELINES:
                task = bar.add_task(name, total=units)
                by = partial(adjust_by, name, scenarios(nominal)[0], options.seed)
                results[name] = _measure_all(pool, bar, task, by, units)
    table = rows.table(results, verified, compared, list(BASELINES))
    Console(width=110).print(rows.rendered(table, options.units, options.seed))
    print(
        json.dumps(
            {"bench": "adjust", "seed": options.seed, "units": options.units} | rows.as_json(table)
        )
    )


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--units", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--profile", type=Path, help="TOML file that overrides the population")
    parser.add_argument("--only", help="scenarios whose name contains this")
    parser.add_argument("--jobs", type=int, default=os.cpu_count())
    options: argparse.Namespace = parser.parse_args()
    return options


if __name__ == "__main__":
    main()
