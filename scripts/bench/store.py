"""Durable commits beside the disk's own rate; fleet queries beside a store without help for them.

Both ratios hang on the disk: a commit costs its sync and 0.1 to 0.25 ms of the processor (the more,
the colder its caches are when the sync returns), of which SQLite alone takes 25 to 40 %; an event
in a batch costs 7 to 20 microseconds (JSON, hash, insert). So 0.6 and 30 are reached where a sync
takes 0.3 ms or more; on a faster disk all rates are higher, and their ratios lower. What SQLite
alone makes of the same bytes, without chain, triggers and witness, is measured by turns with ours.

Run: python scripts/bench/store.py [--results 1000000] [--rounds 60] [--folder FOLDER] [--seed 1]
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from statistics import median
from tempfile import TemporaryDirectory
from typing import cast

from sqlalchemy import Select, insert

from ohmwright.model.event import ActivationClosed, PointDone
from ohmwright.model.result import Measured, Result
from ohmwright.model.tolerance import Target
from ohmwright.records import queries
from ohmwright.records.flat_rows import sortable_time
from ohmwright.records.sql_store import SqlStore, open_store
from ohmwright.records.tables import LEDGER, RESULTS, RUNS
from scripts.bench import plain_store

START = datetime(2021, 1, 4, 8, tzinfo=UTC)
DAYS = 5 * 365
END = START + timedelta(days=DAYS)
UNITS, MODELS, POINTS = 2000, 12, 10
OPENING_BYTES, SEAL_BYTES = 220, 680  # of documents in the ledger, as runs make them
RESULTS_A_RUN = 25  # ten points as found, five adjusted, ten as left
FRAME = 4120  # what SQLite writes for an event: one page and its header
MODEL_NAMES = tuple(f"Quillon {200 + 10 * n}" for n in range(MODELS))


@dataclass(frozen=True)
class Row:
    """One figure beside its bar."""

    figure: str
    value: float
    bar: float | None = None
    at_least: bool = True

    @property
    def met(self) -> bool:
        """Whether the bar is met; a figure without one always is."""
        if self.bar is None:
            return True
        return self.value >= self.bar if self.at_least else self.value <= self.bar


def commits(folder: Path, rounds: int) -> list[Row]:
    """Single commits, batches and the disk, by turns; medians over the turns."""
    store = opened(folder)
    event = ActivationClosed(at=START, bench_s=1.5, on_s=8.5)
    hundred, result = [event] * 100, _point_done()
    file = os.open(folder / "reference", os.O_CREAT | os.O_RDWR)
    place = 0

    alone = plain_store.EventsAlone(folder / "alone.sqlite", event)

    def sync() -> None:
        nonlocal place  # round and round like the log of a database, so the file does not grow
        place = (place + 1) % 1000
        os.pwrite(file, b"x" * FRAME, FRAME * place)
        os.fdatasync(file)

    def single() -> None:
        store.append("single", event)

    def batch() -> None:
        store.append_all("batch", hundred)

    def point() -> None:
        store.append("point", result)

    works = (sync, alone.single, single, alone.batch, batch, point)
    seconds: dict[Callable[[], None], list[float]] = {work: [] for work in works}
    for work in works:
        _each(work, 25 * rounds)  # with 60, until the log has been written round once
    for _ in range(rounds):
        for work, times in seconds.items():
            times.append(_each(work, 40))
    os.close(file)
    alone.close()
    store.close()
    rate = {work: 1 / median(times) for work, times in seconds.items()}
    return [
        Row("fdatasync of this disk, per s", rate[sync]),
        Row("durable single commits, per s", rate[single]),
        Row("SQLite alone: single commits, per s", rate[alone.single]),
        Row("events in batches of 100, per s", 100 * rate[batch]),
        Row("SQLite alone: rows in batches of 100, per s", 100 * rate[alone.batch]),
        Row("single commits of a result, per s", rate[point]),
        Row("single commits ÷ fdatasync", rate[single] / rate[sync], 0.6),
        Row("SQLite alone: single commits ÷ fdatasync", rate[alone.single] / rate[sync]),
        Row("batch of 100 ÷ single", 100 * rate[batch] / rate[single], 30),
        Row("SQLite alone: batch of 100 ÷ single", 100 * rate[alone.batch] / rate[alone.single]),
    ]


def _point_done() -> PointDone:
    result = Result(
        stage="as_found",
        step="cut",
        point="300 ohm",
        kind="power_curve",
        verdict="pass",
        target=Target(quantity="power_w", value=80.0, lower=76.0, upper=84.0),
        measured=Measured(value=81.5, uncertainty=0.4, dof=30.0, age_s=6.0),
    )
    return PointDone(at=START, bench_s=1.5, result=result)


def fleet(folder: Path, results: int, seed: int) -> list[Row]:
    """Each question to a store as it is, and to one without indexes for it and summaries.

    The same rows must come back.
    """
    ours = opened(folder / "ours")
    fill(ours, results, Random(seed))
    place = Path(ours.database.place)
    ours.close()
    (folder / "plain").mkdir()
    shutil.copy(place, folder / "plain" / place.name)
    ours, plain = opened(folder / "ours"), opened(folder / "plain")
    with plain.database.write() as connection:
        for name in ("results_by_asset", "results_by_model", "results_by_verdict"):
            connection.exec_driver_sql(f"DROP INDEX {name}")
        for name in ("asset", "serial", "operator", "model", "at"):
            connection.exec_driver_sql(f"DROP INDEX runs_by_{name}")
        for name in ("ledger_by_verdict", "ledger_verdicts"):
            connection.exec_driver_sql(f"DROP INDEX {name}")
    rows = []
    for question in plain_store.questions(END, MODEL_NAMES[3], "HF-0777"):
        ours_s, found = _answered(ours, question.ours)
        plain_s, expected = _answered(plain, question.plain)
        assert sorted(map(repr, found)) == sorted(map(repr, expected)), question.name
        what = f"{question.name} ({len(found)} rows)"
        bar = None if question.is_list else 50
        rows.append(Row(f"{what}: s", ours_s, 1.2, at_least=False))
        rows.append(Row(f"{what}: times faster", plain_s / ours_s, bar))
    ours.close()
    plain.close()
    return rows


def fill(store: SqlStore, results: int, random: Random) -> None:
    """Flat rows of a synthetic fleet, as the events of its runs would make them."""
    count = results // RESULTS_A_RUN
    starts = sorted(random.uniform(0, DAYS) for _ in range(count))
    with store.database.write() as connection:
        for first in range(0, count, 4000):
            runs, ledger, flat = [], [], []
            for number in range(first, min(count, first + 4000)):
                run = _run(number + 1, START + timedelta(days=starts[number]), random)
                runs.append(run)
                ledger.append(_entry(run))
                flat += _results(run, random)
            connection.execute(insert(RUNS), runs)
            connection.execute(insert(LEDGER), ledger)
            connection.execute(insert(RESULTS), flat)


def _run(number: int, at: datetime, random: Random) -> dict[str, object]:
    unit = random.randrange(UNITS)
    return {
        "number": number,
        "opening": bytes(OPENING_BYTES),
        "run_id": f"{at:%Y%m%dT%H%M%SZ}-{number}",
        "asset": f"HF-{unit:04}",
        "model": MODEL_NAMES[unit % MODELS],
        "serial": str(unit),
        "procedure": "Monopolar output",
        "operator": "Ida Marrow",
        "at": sortable_time(at),
        "simulated": 1,
    }


def _entry(run: dict[str, object]) -> dict[str, object]:
    number = cast(int, run["number"])
    verdict = "undecided" if number % 400 == 0 else "pass"
    entry = {"number": number, "run": number, "what": "sealed", "verdict": verdict}
    return entry | {"document": bytes(SEAL_BYTES), "hash": bytes(32)}


def _results(run: dict[str, object], random: Random) -> list[dict[str, object]]:
    rows = []
    for event in range(RESULTS_A_RUN):
        stage = ("as_found", "adjust", "as_left")[(event >= POINTS) + (event >= POINTS + 5)]
        point = event if stage == "as_found" else (event - POINTS) % 15 % POINTS
        target = 80.0 + 20 * point
        value = random.gauss(target, 0.03 * target if stage == "as_found" else 0.015 * target)
        low, high = 0.95 * target, 1.05 * target
        row = {key: run[key] for key in ("asset", "model", "at", "simulated")}
        row |= {"run": run["number"], "event": event + 1, "stage": stage, "step": "cut"}
        row |= {"point": f"{100 * (point + 1)} ohm", "kind": "power_curve", "quantity": "power_w"}
        row |= {"value": value, "uncertainty": 0.4, "target": target, "lower": low, "upper": high}
        rows.append(row | {"verdict": "pass" if low <= value <= high else "fail"})
    return rows


def opened(folder: Path) -> SqlStore:
    """A store of the bench's own."""
    return open_store(str(folder), folder / "key", folder / "witness")


def _answered(store: SqlStore, query: Select[tuple[object, ...]]) -> tuple[float, list[object]]:
    """Median seconds of five, all rows fetched, and the rows."""
    times: list[float] = []
    rows: Sequence[object] = ()
    for _ in range(6):
        start = time.perf_counter()
        rows = queries.fetch_rows(store.database, query)
        times.append(time.perf_counter() - start)
    return median(times[1:]), list(rows)


def _each(work: Callable[[], None], times: int) -> float:
    start = time.perf_counter()
    for _ in range(times):
        work()
    return (time.perf_counter() - start) / times


def main() -> None:
    """Print one table and a JSON line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--results", type=int, default=1_000_000)
    parser.add_argument("--rounds", type=int, default=60, help="Of commits, by turns.")
    parser.add_argument("--folder", type=Path, help="On the disk to be measured.")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    with TemporaryDirectory(prefix="ohmwright-bench-", dir=given.folder) as name:
        folder = Path(name)
        rows = commits(folder / "commits", given.rounds)
        rows += fleet(folder, given.results, given.seed)
    for row in rows:
        bar = "" if row.bar is None else f"{'≥' if row.at_least else '≤'} {row.bar:g}"
        print(f"{row.figure:64} {row.value:12.4g} {bar:>8}{'' if row.met else '  MISSED'}")
    print(json.dumps({row.figure: row.value for row in rows}))


if __name__ == "__main__":
    main()
