"""A store with the visits of invented units over years, for trying what looks over many runs.

    .venv/bin/python scripts/creep_history.py FOLDER [--units 40] [--years 5] [--seed 1]

Each unit has two points that creep; now and then it fails as found, is adjusted, and is measured as
left. The runs are marked as simulated.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from ohmwright.model.bench_file import Asset
from ohmwright.model.event import Event, PointDone, RunFinished, RunStarted
from ohmwright.model.result import Measured, Result, Verdict, worst
from ohmwright.model.step import Stage
from ohmwright.model.tolerance import Target
from ohmwright.records.sql_store import SqlStore, open_store

NOW = datetime(2026, 6, 1, 9, tzinfo=UTC)
_MODELS = ("Quillon 300", "Marlow 120")
_POINTS = (("cut-full", "100 ohm", 80.0), ("coag-full", "500 ohm", 60.0))
_PERCENT, _SCATTER, _U = 10.0, 0.6, 0.5


@dataclass
class Unit:
    """One invented unit: error of each point in percent, and how it moves."""

    asset: Asset
    errors: np.ndarray
    rates: np.ndarray
    walk: float


def write_histories(store: SqlStore, *, units: int, years: float, seed: int) -> None:
    """Put `units` units on record, each visited about once a year."""
    rng = np.random.default_rng(seed)
    for number in range(1, units + 1):
        unit = _unit(number, rng)
        at = NOW - timedelta(days=365.25 * years * rng.uniform(0.5, 1.0))
        while at < NOW:
            run_id = f"{at:%Y%m%dT%H%M%SZ}-{unit.asset.id}"
            store.append_all(run_id, list(_visit(unit, run_id, at, seed, rng)))
            gap = float(rng.gamma(8.0, 1.0 / 8.0))
            steps = np.where(rng.random(2) < 0.04, rng.normal(0.0, 4.0, 2), 0.0)
            unit.errors = unit.errors + unit.rates * gap + steps
            unit.errors = unit.errors + rng.normal(0.0, unit.walk * np.sqrt(gap), 2)
            at += timedelta(days=365.25 * gap)


def _unit(number: int, rng: np.random.Generator) -> Unit:
    model = _MODELS[number % 2]
    asset = Asset(id=f"HF-{number:03}", maker="Tessenhove", model=model, serial=f"T{number:05}")
    shared = rng.normal((1.6, -2.2)[number % 2], 0.9)
    rates = shared * np.array([1.0, 0.7]) * (4.0 if number == 7 else 1.0)
    return Unit(asset, rng.normal(0.0, 2.0, 2), rates, float(rng.uniform(0.4, 1.0)))


def _visit(
    unit: Unit, run_id: str, at: datetime, seed: int, rng: np.random.Generator
) -> Iterator[Event]:
    yield _started(unit, run_id, at, seed)
    found = list(_measured(unit, "as_found", at, rng))
    yield from found
    verdict = worst(one.result.verdict for one in found)
    if verdict == "fail":
        yield _adjusted(at)
        unit.errors = rng.normal(0.0, 0.7, 2)
        left = list(_measured(unit, "as_left", at + timedelta(minutes=9), rng))
        yield from left
        verdict = worst(one.result.verdict for one in left)
    end = at + timedelta(minutes=12)
    yield RunFinished(at=end, bench_s=720.0, verdict=verdict, on_s=90.0, bench_time_s=720.0)


def _started(unit: Unit, run_id: str, at: datetime, seed: int) -> RunStarted:
    return RunStarted(
        at=at,
        bench_s=0.0,
        run_id=run_id,
        procedure="Yearly check",
        revision="1",
        procedure_digest="0",
        stages=("as_found", "adjust", "as_left"),
        bench="bench",
        analyzer="analyzer",
        generator="generator",
        asset=unit.asset,
        operator="A. Fenn",
        software="ohmwright",
        seed=seed,
    )


def _measured(
    unit: Unit, stage: Stage, at: datetime, rng: np.random.Generator
) -> Iterator[PointDone]:
    for error, (step, point, target_w) in zip(unit.errors, _POINTS, strict=True):
        width = target_w * _PERCENT / 100.0
        target = Target(
            quantity="power_w", value=target_w, lower=target_w - width, upper=target_w + width
        )
        value = target_w * (1.0 + float(error + rng.normal(0.0, _SCATTER)) / 100.0)
        verdict: Verdict = "pass" if target.lower <= value <= target.upper else "fail"
        u = target_w * _U / 100.0
        measured = Measured(value=value, uncertainty=u, dof=30.0, age_s=6.0, expanded=2.0 * u)
        result = Result(
            stage=stage,
            step=step,
            point=point,
            kind="power_curve",
            verdict=verdict,
            mode=step.split("-", maxsplit=1)[0],
            target=target,
            measured=measured,
        )
        yield PointDone(at=at + timedelta(minutes=1), bench_s=60.0, result=result)


def _adjusted(at: datetime) -> PointDone:
    result = Result(
        stage="adjust", step="trims", point="cut current", kind="adjust", verdict="pass"
    )
    return PointDone(at=at + timedelta(minutes=5), bench_s=300.0, result=result)


def main() -> None:
    """Write a store into the folder that the command line names."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--units", type=int, default=40)
    parser.add_argument("--years", type=float, default=5.0)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    key, witness = given.folder / "operator.key", given.folder / "witness"
    with open_store(str(given.folder), key, witness) as store:
        write_histories(store, units=given.units, years=given.years, seed=given.seed)


if __name__ == "__main__":
    main()
