"""The fault harness: `python scripts/faults`. One table; exit code 1 where a rule did not hold."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator
from dataclasses import asdict
from functools import partial
from random import SystemRandom

import cancel
import compound
import database
import files
import hazards
import kill_guards
import kills
import messages
import records
from mutate import MUTATIONS
from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table
from rig import Case
from row import Row

from ohmwright.simulator.faults import KINDS

PARTS = (
    "cancel",
    "messages",
    "compound",
    "hazards",
    "records",
    "files",
    "database",
    "kills",
    "guards",
)
Rows = Callable[[int, bool], Iterator[Row]]


def main() -> int:
    """Run what was asked for."""
    args = _parsed()
    if args.mutate in MUTATIONS:
        MUTATIONS[args.mutate]()
    if args.replay is not None:
        return _replay(args.replay, args.mutate or "")
    seed = SystemRandom().randrange(1, 1000) if args.seed is None else args.seed
    parts: dict[str, Rows] = {
        "cancel": partial(cancel.rows, jobs=args.jobs),
        "messages": partial(messages.rows, jobs=args.jobs, every=args.every, kind=args.kind),
        "compound": compound.rows,
        "hazards": hazards.rows,
        "records": records.rows,
        "files": files.rows,
        "database": database.rows,
        "kills": partial(kills.rows, jobs=3 * args.jobs, mutate=args.mutate or ""),
        "guards": partial(kill_guards.rows, jobs=2 * args.jobs, mutate=args.mutate or ""),
    }
    wanted = {args.only: parts[args.only]} if args.only else parts
    rows = list(_with_progress(wanted, seed, reduced=args.reduced))
    _show(rows, seed, as_json=args.json)
    return 0 if all(row.holds for row in rows) else 1


def _parsed() -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python scripts/faults", description=__doc__)
    parser.add_argument("--reduced", action="store_true", help="a sample of every kind")
    parser.add_argument("--seed", type=int, help="the unit to begin with; drawn if not given")
    parser.add_argument("--only", choices=PARTS)
    parser.add_argument("--kind", choices=KINDS, help="of messages: this kind alone")
    parser.add_argument("--jobs", type=int, default=2, help="children at a time")
    parser.add_argument(
        "--mutate", choices=[*sorted(MUTATIONS), "guard"], help="make the program worse first"
    )
    parser.add_argument("--replay", metavar="SPEC", help="one trial, as a failure printed it")
    parser.add_argument("--every", type=int, default=1, help="only every Nth message, in full")
    parser.add_argument("--json", action="store_true")
    return parser.parse_args()


def _replay(spec: str, mutate: str) -> int:
    part, name, seed, fault = spec.split("/", 3)
    if part == "kills":
        outcome = kills.replay(kills.Trial(name, int(seed), int(fault)), mutate=mutate)
    elif part == "guards":
        outcome = kill_guards.replay(kill_guards.Trial(name, int(seed), int(fault)), mutate=mutate)
    elif part == "files":
        outcome = files.replay(files.Trial(name, int(seed), int(fault)))
    elif part in ("cancel", "messages"):
        module = {"cancel": cancel, "messages": messages}[part]
        outcome = module.replay(Case(name, int(seed)), fault)
    else:
        sys.exit(f"'{spec}' is no trial: run '--only {part}' instead")
    print(json.dumps(outcome, indent=2))
    return int(any(outcome.get(bad) for bad in ("left_on", "wrong", "undetected", "hang")))


def _with_progress(parts: dict[str, Rows], seed: int, *, reduced: bool) -> Iterator[Row]:
    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    # no refreshing thread: the process forks
    with Progress(*columns, console=Console(stderr=True), auto_refresh=False) as progress:
        task = progress.add_task("")
        for name, rows in parts.items():
            progress.update(task, description=name, refresh=True)
            for row in rows(seed, reduced):
                done = f"{row.fault}: {row.tried} tried, {'held' if row.holds else 'MISSED'}"
                progress.console.print(f"{name}: {done}; {row.note}", *row.replays, sep="\n")
                yield row


def _show(rows: list[Row], seed: int, *, as_json: bool) -> None:
    if as_json:
        print(json.dumps({"seed": seed, "rows": [asdict(row) for row in rows]}, indent=2))
        return
    table = Table(title=f"Faults, seed {seed}: {sum(row.tried for row in rows)} tried")
    for title in ("fault", "tried", "left on", "wrong values", "undetected", "hangs"):
        table.add_column(title, justify="left" if title == "fault" else "right")
    table.add_column("how they ended", overflow="fold")
    for row in rows:
        counts = (row.tried, row.left_on, row.wrong_values, row.undetected, row.hangs)
        style = None if row.holds else "red"
        table.add_row(row.fault, *map(str, counts), row.note, style=style)
    Console(width=None if sys.stdout.isatty() else 150).print(table)
    for row in rows:
        for replay in row.replays:
            print(replay)
    print("All held." if all(row.holds for row in rows) else "MISSED: see the lines above.")


if __name__ == "__main__":
    sys.exit(main())
