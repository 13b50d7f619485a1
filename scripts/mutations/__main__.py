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
import signal
import sys
import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path

from .groups import PUBLISHED, Group, groups
from .kept import KeptTrials
from .named import named_changes
from .sites import Change
from .targets import drawable
from .trial import Copy

ROOT = Path(__file__).parents[2]
_SUITE_BAR, _PUBLISHED_BAR = 0.95, 0.5


def main() -> int:
    """Try, print and compare with the bars."""
    signal.signal(signal.SIGTERM, lambda *_: sys.exit("stopped; begun again, it goes on from here"))
    asked = _arguments()
    if asked.named:
        chosen = list(named_changes(ROOT).values())
    else:
        chosen = drawn(drawable(ROOT), asked.count, asked.seed)
    with tempfile.TemporaryDirectory() as folder:
        copy, kept = Copy(ROOT, Path(folder) / "project"), KeptTrials(ROOT)

        def notices(change: Change, tests: Group) -> bool:
            known = kept.noticed(change, tests)
            if known is None:
                known = copy.notice(tests, change)
                kept.keep(change, tests, known)
            return known

        noticed_by = first_noticed(chosen, notices)
    return _report(noticed_by, as_json=asked.json)


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


def first_noticed(
    chosen: Sequence[Change], notices: Callable[[Change, Group], bool]
) -> dict[Change, Group | None]:
    """The first group of tests that notices each; None for a survivor.

    All are tried on the quick groups before any is on a long one.
    """
    found: dict[Change, Group | None] = dict.fromkeys(chosen)
    queues = {change: groups(change, ROOT) for change in chosen}
    for stage in range(max(map(len, queues.values()))):
        left = [c for c in chosen if found[c] is None and stage < len(queues[c])]
        for number, change in enumerate(left, start=1):
            tests = queues[change][stage]
            seen = notices(change, tests)
            found[change] = tests if seen else None
            word = "noticed by" if seen else "passes"
            _tell(f"stage {stage + 1}, {number:2} of {len(left)}: {change} {word} {tests[0]}")
    return found


def _report(noticed_by: Mapping[Change, Group | None], *, as_json: bool) -> int:
    tried = len(noticed_by)
    survivors = [str(change) for change, tests in noticed_by.items() if tests is None]
    by_suite = 1 - len(survivors) / tried
    by_published = sum(tests == PUBLISHED for tests in noticed_by.values()) / tried
    if as_json:
        shares = {"tried": tried, "by_suite": by_suite, "by_published": by_published}
        print(json.dumps({**shares, "survivors": survivors}))
    else:
        print(f"{tried} changes: {by_suite:.0%} noticed by the tests (bar {_SUITE_BAR:.0%}),")
        print(f"{by_published:.0%} by the published values alone (bar {_PUBLISHED_BAR:.0%}).")
        for survivor in survivors:
            print(f"NOT NOTICED  {survivor}")
    return 0 if by_suite >= _SUITE_BAR and by_published >= _PUBLISHED_BAR else 1


def _tell(text: str) -> None:
    print(text, file=sys.stderr, flush=True)


if __name__ == "__main__":
    raise SystemExit(main())
