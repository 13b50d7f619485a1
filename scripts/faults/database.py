"""What a store of records stands: programs killed, disks full, files damaged.

Run: python scripts/faults/database.py [--seed N] [--reduced]
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator
from dataclasses import asdict

import database_damage
import database_kill
from row import Row


def rows(seed: int, reduced: bool) -> Iterator[Row]:
    """One row a fault. `wrong_values` counts acknowledged events lost or corrupt."""
    yield from database_kill.rows(seed, reduced=reduced)
    yield from database_damage.rows(seed, reduced=reduced)


def main() -> None:
    """Print one table and a JSON line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--reduced", action="store_true", help="a few tries of each")
    given = parser.parse_args()
    done = []
    print(f"{'fault':48} {'tried':>7} {'lost':>5} {'undetected':>10} {'hangs':>5}  note")
    for row in rows(given.seed, given.reduced):
        done.append(asdict(row))
        print(
            f"{row.fault:48} {row.tried:7} {row.wrong_values:5} {row.undetected:10} "
            f"{row.hangs:5}  {row.note}",
            flush=True,
        )
    print(json.dumps({"rows": done}))


if __name__ == "__main__":
    main()
