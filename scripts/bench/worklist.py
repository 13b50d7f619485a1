"""How long the worklist of 10,000 assets takes, beside reading its rows by sqlite3 alone.

    python scripts/bench/worklist.py [--assets 10000] [--rounds 5]

The store is made of rows that nobody measured: three finished runs a unit, one unit in twenty cut
short since. Medians of questions asked by turns; prints one table and a JSON line.
"""

from __future__ import annotations

import argparse
import json
import sqlite3
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median
from tempfile import TemporaryDirectory
from timeit import default_timer

from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.recorded_worklist import store_worklist
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.records.asset_register import AssetChange, AssetRegister
from ohmwright.records.campaigns import Campaigns, Worker
from ohmwright.records.sql_store import SqlStore, open_store
from scripts.bench.start import OHMWRIGHT, seconds

_RUNS = 3
_CUT_SHORT = 20
_BEGAN = datetime(2023, 1, 1, tzinfo=UTC)
_PLAIN = (
    "SELECT * FROM asset_changes",
    "SELECT asset, run, run_id, at, verdict FROM newest_runs",
)


def fill(store: SqlStore, file: Path, assets: int) -> None:
    """Register the units and insert rows of their runs."""
    units = [
        RegisteredAsset(
            tag=f"HF-{n:05d}",
            maker="Tessenhove",
            model=f"Model {n % 4}",
            serial=f"S{n:06d}",
            site=f"Ward {n % 40}",
        )
        for n in range(assets)
    ]
    register = AssetRegister(store.database)
    register.apply([AssetChange("imported", unit, 1) for unit in units], by="bench")
    number, runs, ledger = 0, [], []
    for turn in range(_RUNS + 1):
        for n, unit in enumerate(units):
            if turn == _RUNS and n % _CUT_SHORT:
                continue
            number += 1
            at = (_BEGAN + timedelta(days=365 * turn + n % 365)).isoformat(timespec="microseconds")
            name, verdict = f"run-{number}", None if turn == _RUNS else "pass"
            told = (unit.tag, unit.model, unit.serial, "p", "o", at, 0)
            runs.append((number, b"", name, *told))
            ledger.append((number, number, "sealed", verdict, b"", b""))
    with sqlite3.connect(file) as connection:
        marks = ", ".join("?" * 10)
        columns = (
            "number, opening, run_id, asset, model, serial, procedure, operator, at, simulated"
        )
        connection.executemany(f"INSERT INTO runs ({columns}) VALUES ({marks})", runs)
        connection.executemany("INSERT INTO ledger VALUES (?, ?, ?, ?, ?, ?)", ledger)


def timed(function: object) -> float:
    """Seconds of one call."""
    start = default_timer()
    function()  # type: ignore[operator]
    return default_timer() - start


def measure(folder: Path, assets: int, rounds: int) -> dict[str, float]:
    """Seconds of each question, medians."""
    with open_store(str(folder), folder / "key", folder / "witness") as store:
        file = folder / "records.sqlite"
        fill(store, file, assets)
        listed = [one.asset.tag for one in store_worklist(store, simulated=False)]
        assert len(listed) == assets
        Campaigns(store.database).new("all", listed, "bench", "verify", simulated=False)
        desk = CampaignDesk(store, "all", Worker("bench", "bench"))

        def plainly() -> None:
            with sqlite3.connect(file) as connection:
                for query in _PLAIN:
                    connection.execute(query).fetchall()

        def in_process() -> None:
            store_worklist(store, simulated=False)

        def take() -> None:
            assert desk.take_next() is not None

        plainly()
        turns = [(timed(in_process), timed(plainly), timed(take)) for _ in range(rounds)]
        ours, plain, taken = (median(column) for column in zip(*turns, strict=True))
    command = (str(folder), "--json", "--limit", "20")
    starts = [seconds(OHMWRIGHT, "worklist", "--records", *command) for _ in range(rounds + 1)]
    whole = median(starts[1:])  # the first one compiles the modules
    names = ("worklist_s", "plain_s", "take_next_s", "command_s")
    return dict(zip(names, (ours, plain, taken, whole), strict=True))


def main() -> None:
    """Print the table and the JSON line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--assets", type=int, default=10_000)
    parser.add_argument("--rounds", type=int, default=5)
    given = parser.parse_args()
    with TemporaryDirectory(prefix="ohmwright-bench-") as folder:
        said = measure(Path(folder), given.assets, given.rounds)
    said["ratio"] = said["worklist_s"] / said["plain_s"]
    for name, value in said.items():
        print(f"{name:16} {value:8.3f}")
    print(json.dumps({"bench": "worklist", "assets": given.assets} | said))


if __name__ == "__main__":
    main()
