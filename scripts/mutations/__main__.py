"""Draws changes over the arithmetic that decides results, tries each, and names survivors.

    python -m scripts.mutations --count 60 --seed 1

The same number is drawn from each of `targets.TARGETS`, or all that it has. `--named` tries the
changes of `named.py` instead, which survived once. Each is tried on the groups of `groups.py`, one
after the other. What came out is kept in `build/mutations` at once: a run that was stopped goes on
where it was, as long as source and tests are the same. Exit code 1 where fewer than the bars are
noticed: 95 % by all tests, 50 % by the published values alone.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from .kept import KeptOutcomes, Outcome
from .named import named_changes
from .sites import Change
from .targets import drawable
from .trial import Copy

ROOT = Path(__file__).parents[2]
_SUITE_BAR, _PUBLISHED_BAR = 0.95, 0.5


def main() -> int:
    """Try, print and compare with the bars."""
    asked = _arguments()
    if asked.named:
        chosen = list(named_changes(ROOT).values())
    else:
        chosen = drawn(drawable(ROOT), asked.count, asked.seed)
    with tempfile.TemporaryDirectory() as folder:
        outcomes = list(_tried(chosen, Path(folder)))
    return _report(outcomes, as_json=asked.json)


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=60, help="how many changes are drawn")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--named", action="store_true", help="the changes that survived once")
    parser.add_argument("--json", action="store_true")
    return parser.parse_args()


def drawn(targets: dict[str, list[Change]], count: int, seed: int) -> list[Change]:
    """As many changes of each target, or all that it has, in an order that the seed decides."""
    draw = random.Random(seed)
    pools = [draw.sample(found, len(found)) for found in targets.values()]
    chosen: list[Change] = []
    while len(chosen) < count and any(pools):
        chosen += [pool.pop() for pool in pools if pool]
    return chosen[:count]


def _tried(chosen: Sequence[Change], folder: Path) -> Iterator[Outcome]:
    """The outcome of each, in their order; one that is kept is not tried again."""
    copy = Copy(ROOT, folder / "project")
    kept = KeptOutcomes(ROOT)
    for number, change in enumerate(chosen, start=1):
        outcome = kept.of(change)
        if outcome is None:
            tests = copy.noticed_by(change)
            outcome = Outcome(change, None if tests is None else " ".join(tests))
            kept.keep(outcome)
        print(f"{number:3} of {len(chosen)}  {_told(outcome)}", file=sys.stderr, flush=True)
        yield outcome


def _told(outcome: Outcome) -> str:
    word = "NOTHING" if outcome.noticed_by is None else outcome.noticed_by.split()[0]
    return f"{outcome.change}: {word}"


def _report(outcomes: Sequence[Outcome], *, as_json: bool) -> int:
    tried = len(outcomes)
    by_suite = sum(outcome.noticed_by is not None for outcome in outcomes) / tried
    by_published = sum(outcome.by_published for outcome in outcomes) / tried
    survivors = [str(outcome.change) for outcome in outcomes if outcome.noticed_by is None]
    if as_json:
        shares = {"tried": tried, "by_suite": by_suite, "by_published": by_published}
        print(json.dumps({**shares, "survivors": survivors}))
    else:
        print(f"{tried} changes: {by_suite:.0%} noticed by the tests (bar {_SUITE_BAR:.0%}),")
        print(f"{by_published:.0%} by the published values alone (bar {_PUBLISHED_BAR:.0%}).")
        for survivor in survivors:
            print(f"NOT NOTICED  {survivor}")
    return 0 if by_suite >= _SUITE_BAR and by_published >= _PUBLISHED_BAR else 1


if __name__ == "__main__":
    raise SystemExit(main())
