"""The fault harness: `python scripts/faults`. One table; exit code 1 where a rule did not hold."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from dataclasses import asdict
from random import SystemRandom

from rich.console import Console
from rich.progress import Progress, SpinnerColumn, TextColumn, TimeElapsedColumn
from rich.table import Table

from ohmwright.simulator.faults import KINDS

from .mutate import MUTATIONS
from .parts import PARTS, Options, replay
from .row import Row


def main() -> int:
    """Run what was asked for."""
    args = _parsed()
    if args.mutate in MUTATIONS:
        MUTATIONS[args.mutate]()
    if args.replay is not None:
        return _replay(args.replay, args.mutate)
    seed = SystemRandom().randrange(1, 1000) if args.seed is None else args.seed
    options = Options(seed, args.reduced, args.jobs, args.every, args.kind, args.mutate)
    rows = list(_with_progress([args.only] if args.only else list(PARTS), options))
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
        "--mutate",
        choices=[*sorted(MUTATIONS), "guard"],
        default="",
        help="make the program worse first",
    )
    parser.add_argument("--replay", metavar="SPEC", help="one trial, as a failure printed it")
    parser.add_argument("--every", type=int, default=0, help="only every Nth message, in full")
    parser.add_argument("--json", action="store_true")
    return parser.parse_args()


def _replay(spec: str, mutate: str) -> int:
    outcome = replay(spec, mutate)
    if outcome is None:
        sys.exit(f"'{spec}' is no trial: run '--only {spec.partition('/')[0]}' instead")
    print(json.dumps(outcome, indent=2))
    return int(any(outcome.get(bad) for bad in ("left_on", "wrong", "undetected", "hang")))


def _with_progress(names: list[str], options: Options) -> Iterator[Row]:
    columns = (SpinnerColumn(), TextColumn("{task.description}"), TimeElapsedColumn())
    # no refreshing thread: the process forks
    with Progress(*columns, console=Console(stderr=True), auto_refresh=False) as progress:
        task = progress.add_task("")
        for name in names:
            progress.update(task, description=name, refresh=True)
            for row in PARTS[name](options):
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
        print(*row.replays, sep="\n", end="\n" if row.replays else "")
    print("All held." if all(row.holds for row in rows) else "MISSED: see the lines above.")
