"""Run every bench and show each bar, met, missed or not measured, in one table.

    scripts/bench/all [--quick] [--only NAME] [--json] [--within SECONDS]

It only reports: a bar that is missed ends with 0, a bench that breaks with 1. `--quick` takes
smaller samples; what these cannot judge is then not measured, and a bench that could judge nothing
so is not run. A figure is met only when its bench gave it in this run.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from timeit import default_timer
from typing import Literal

from rich.console import Console
from rich.table import Table

from scripts.bench.bars import BARS, BENCHES, Bar
from scripts.bench.figures import figures_in

_HERE = Path(__file__).parent
_QUICK_S, _FULL_S = 100.0, 86_400.0
"""For all benches together, unless told otherwise."""
_STYLES = {"met": "green", "missed": "bold red", "not measured": "yellow", "": ""}
Verdict = Literal["met", "missed", "not measured", ""]
_COUNTED: tuple[Verdict, ...] = ("met", "missed", "not measured")


@dataclass(frozen=True)
class Ran:
    """What one bench gave: its figures, or why there are none."""

    figures: Mapping[str, float]
    seconds: float = 0.0
    broke: str = ""
    """What went wrong; a bench that was not reached in time is not broken."""
    skipped: str = ""


@dataclass(frozen=True)
class Judged:
    """One bar and what this run says of it; a verdict of "" has no bar to meet."""

    bar: Bar
    value: float | None
    reference: float | None
    verdict: Verdict
    note: str = ""


def ran(name: str, *, quick: bool, within_s: float) -> Ran:
    """Run one bench in a process of its own and read its JSON line."""
    bench = BENCHES[name]
    if within_s <= 0:
        return Ran({}, skipped="no time left")
    command = [sys.executable, str(_HERE / bench.script), *(bench.quick if quick else bench.full)]
    start = default_timer()
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=within_s)
    except subprocess.TimeoutExpired:
        return Ran({}, within_s, skipped="no time left")
    spent_s = default_timer() - start
    if done.returncode != 0:
        lines = done.stderr.strip().splitlines() or [f"exit code {done.returncode}"]
        return Ran({}, spent_s, broke=lines[-1])
    try:
        return Ran(figures_in(done.stdout), spent_s)
    except ValueError as problem:
        return Ran({}, spent_s, broke=str(problem))


def benches_that_judge(*, quick: bool) -> list[str]:
    """The benches with at least one bar that they can judge."""
    judging = {bar.bench for bar in BARS if bar.by_quick or not quick}
    return [name for name in BENCHES if name in judging]


def judged(bar: Bar, results: Mapping[str, Ran], *, quick: bool) -> Judged:
    """What the benches that ran say of `bar`."""
    if bar.bench is None:
        return Judged(bar, None, None, "not measured", "no bench yet")
    result = results.get(bar.bench, Ran({}))
    value, reference = result.figures.get(bar.figure), result.figures.get(bar.reference)
    if value is None:
        small = "sample too small" if quick and not bar.by_quick else "the bench gave none"
        why = result.broke and f"{bar.bench} broke"
        return Judged(bar, None, reference, "not measured", why or result.skipped or small)
    if quick and not bar.by_quick:
        return Judged(bar, value, reference, "not measured", "sample too small")
    if bar.limit is None:
        return Judged(bar, value, reference, "")
    return Judged(bar, value, reference, "met" if bar.met(value) else "missed")


def table(rows: Sequence[Judged], title: str) -> Table:
    """The rows for the terminal."""
    shown = Table(title=title)
    shown.add_column("")
    shown.add_column("figure")
    for column in ("bar", "measured", "reference"):
        shown.add_column(column, justify="right")
    shown.add_column("")
    for row in rows:
        bar = row.bar
        sign = "≤" if bar.bound == "at most" else "≥"
        limit = "" if bar.limit is None else f"{sign} {bar.limit:g}"
        words = f"{row.verdict}: {row.note}" if row.note else row.verdict
        numbers = (_written(row.value), _written(row.reference))
        shown.add_row(
            bar.part, bar.what, limit, *numbers, f"[{_STYLES[row.verdict] or 'none'}]{words}"
        )
    return shown


def _written(value: float | None) -> str:
    return "" if value is None else f"{value:.4g}"


def as_json(rows: Sequence[Judged]) -> str:
    """The rows as one JSON line."""
    return json.dumps(
        [
            {
                "part": row.bar.part,
                "figure": row.bar.what,
                "bench": row.bar.bench,
                "bar": row.bar.limit,
                "bound": row.bar.bound,
                "value": row.value,
                "reference": row.reference,
                "verdict": row.verdict or "no bar",
                "note": row.note,
            }
            for row in rows
        ],
        ensure_ascii=False,
    )


def main() -> int:
    """Run what the command line asks for; 1 where a bench broke."""
    options = _options()
    usual_s = _QUICK_S if options.quick else _FULL_S
    left_s: float = usual_s if options.within is None else options.within
    names = [options.only] if options.only else benches_that_judge(quick=options.quick)
    said = Console(stderr=True)
    results: dict[str, Ran] = {}
    for name in names:
        result = results[name] = ran(name, quick=options.quick, within_s=left_s)
        left_s -= result.seconds
        said.print(f"{name}: {result.seconds:.0f} s {result.broke or result.skipped}".rstrip())
    wanted = [bar for bar in BARS if bar.bench in results or options.only is None]
    rows = [judged(bar, results, quick=options.quick) for bar in wanted]
    if options.json:
        print(as_json(rows))
    else:
        _print(rows, quick=options.quick)
    broken = {name: result.broke for name, result in results.items() if result.broke}
    for name, problem in broken.items():
        said.print(f"{name} broke: {problem}", style="bold red")
    return 1 if broken else 0


def _print(rows: Sequence[Judged], *, quick: bool) -> None:
    verdicts = [row.verdict for row in rows]
    title = "Bars, quick look" if quick else "Bars"
    Console(width=120).print(table(rows, title))
    print(", ".join(f"{verdicts.count(verdict)} {verdict}" for verdict in _COUNTED))


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--quick", action="store_true", help="smaller samples, about a minute")
    parser.add_argument("--only", choices=list(BENCHES), help="one bench")
    parser.add_argument("--json", action="store_true", help="one JSON line instead of the table")
    parser.add_argument("--within", type=float, help="seconds for all benches together")
    return parser.parse_args()


if __name__ == "__main__":
    sys.exit(main())
