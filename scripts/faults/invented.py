"""Invented runs for the faults of a store."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from random import Random

from ohmwright.model.bench_file import Asset
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Event,
    PointDone,
    RunFinished,
    RunStarted,
)
from ohmwright.model.result import Measured, Result, Sample, Verdict
from ohmwright.model.tolerance import Target

START = datetime(2026, 1, 5, 8, tzinfo=UTC)


def some_run(run_id: str, points: int, random: Random, samples: int = 8) -> Iterator[Event]:
    """A run of `points` points, three events each, with its beginning and its end."""
    at, bench_s = START + timedelta(days=random.randrange(2000)), 0.0
    yield _started(run_id, at, random)
    verdicts: list[Verdict] = []
    for number in range(points):
        bench_s += 30.0
        stamp = {"at": at + timedelta(seconds=bench_s), "bench_s": bench_s}
        yield ActivationOpened(**stamp, load_ohm=100.0 + number, limit_s=15.0)
        yield ActivationClosed(**stamp, on_s=8.5)
        result = _result(number, random, samples)
        verdicts.append(result.verdict)
        yield PointDone(**stamp, result=result)
    verdict: Verdict = "fail" if "fail" in verdicts else "pass"
    yield RunFinished(
        at=at + timedelta(seconds=bench_s + 1),
        bench_s=bench_s + 1,
        verdict=verdict,
        on_s=8.5 * points,
        bench_time_s=bench_s + 1,
    )


def _started(run_id: str, at: datetime, random: Random) -> RunStarted:
    number = random.randrange(2000)
    return RunStarted(
        at=at,
        bench_s=0.0,
        run_id=run_id,
        procedure="Monopolar output",
        revision="1",
        procedure_digest="0",
        stages=("as_left",),
        bench="Workshop bench 2",
        analyzer="Gantry,400,1,1",
        generator="Quillon,300,1,1",
        asset=Asset(id=f"HF-{number}", maker="Quillon", model="Quillon 300", serial=str(number)),
        operator="Ida Marrow",
        software="ohmwright",
        seed=1,
    )


def _result(number: int, random: Random, samples: int) -> Result:
    value = random.gauss(150.0, 4.0)
    return Result(
        stage="as_left",
        step="cut",
        point=f"{100 + number} ohm",
        kind="power_curve",
        verdict="pass" if 142.5 <= value <= 157.5 else "fail",
        load_ohm=100.0 + number,
        target=Target(quantity="power_w", value=150.0, lower=142.5, upper=157.5),
        measured=Measured(value=value, uncertainty=0.4, dof=30.0, age_s=6.0),
        on_s=8.5,
        samples=tuple(Sample(0.2 * n, round(random.gauss(700.0, 2.0), 1)) for n in range(samples)),
    )
