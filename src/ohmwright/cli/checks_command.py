"""`checks`: every published value that the arithmetic is held against, recomputed on the spot."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from contextlib import nullcontext
from itertools import groupby

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright.model.errors import UsageError
from ohmwright.published.catalogue import all_checks
from ohmwright.published.checks import Check, Outcome

from .console import out, print_json

_DIFFERS = 1


def run_checks(source: str, *, as_json: bool) -> int:
    """Print expected and got of every check of `source` (of all, where empty); 1 if any differs."""
    outcomes = [check.outcome() for check in _chosen(source)]
    if as_json:
        print_json([_row(outcome) for outcome in outcomes])
    else:
        _print(outcomes)
    return 0 if all(outcome.agrees for outcome in outcomes) else _DIFFERS


def _chosen(source: str) -> Sequence[Check]:
    every = all_checks()
    wanted = source.casefold()
    chosen = [check for check in every if wanted in f"{check.source}, {check.clause}".casefold()]
    if not chosen:
        names = "; ".join(dict.fromkeys(check.source for check in every))
        raise UsageError(f"No check is from '{source}'.", f"There are: {names}.")
    return chosen


def _row(outcome: Outcome) -> dict[str, str | float | bool | None]:
    check = outcome.check
    finite = outcome.got == outcome.got and abs(outcome.got) != float("inf")
    return {
        "source": check.source,
        "clause": check.clause,
        "what": check.what,
        "status": check.status,
        "expected": check.expected,
        "got": outcome.got if finite else None,
        "tolerance": check.tolerance,
        "agrees": outcome.agrees,
    }


def _print(outcomes: Sequence[Outcome]) -> None:
    """Page by page where a person reads more than a screen of it."""
    long = out().is_terminal and len(outcomes) > out().height
    with out().pager() if long else nullcontext():
        out().print(*_tables(outcomes), sep="\n")
        out().print(_summary(outcomes))


def _tables(outcomes: Sequence[Outcome]) -> Iterator[RenderableType]:
    """A heading a source and a clause, and under each its values in columns that stay in line."""
    yield _columns([("Source, clause, value", "Expected", "Got", "Off/tol", "Known")])
    for source, of_source in groupby(outcomes, lambda outcome: outcome.check.source):
        yield Text(source, style="bold")
        for clause, of_clause in groupby(of_source, lambda outcome: outcome.check.clause):
            yield Text(f" {clause}", style="italic")
            yield _columns(_cells(outcome) for outcome in of_clause)


def _columns(rows: Iterable[tuple[str | Text, ...]]) -> Table:
    table = Table.grid(padding=(0, 1, 0, 0), expand=True)
    table.add_column(ratio=1)
    for width in (13, 13, 7):
        table.add_column(width=width, justify="right", no_wrap=True)
    table.add_column(width=11, no_wrap=True)
    for row in rows:
        table.add_row(*row)
    return table


def _cells(outcome: Outcome) -> tuple[str | Text, ...]:
    check = outcome.check
    known = Text(check.status) if outcome.agrees else Text("DIFFERS", style="bold red")
    figures = (f"{check.expected:.8g}", f"{outcome.got:.8g}", _off(outcome))
    return f"  {check.what}", *figures, known


def _off(outcome: Outcome) -> str:
    """The difference in tolerances; some values must be met to the last bit."""
    off, tolerance = abs(outcome.got - outcome.check.expected), outcome.check.tolerance
    return f"{off / tolerance:.2f}" if tolerance > 0 else "exact" if off == 0 else "off"


def _summary(outcomes: Sequence[Outcome]) -> Group:
    differing = sum(not outcome.agrees for outcome in outcomes)
    sources = len({outcome.check.source for outcome in outcomes})
    known = Counter(outcome.check.status for outcome in outcomes)
    verdict = "all agree" if differing == 0 else f"{differing} DIFFER"
    counts = ", ".join(f"{count} {status}" for status, count in known.most_common())
    return Group(
        Text(
            f"{len(outcomes)} checks from {sources} source{'s' * (sources > 1)}: {verdict}.",
            style="green" if differing == 0 else "bold red",
        ),
        Text(f"Known how: {counts}."),
        Text(
            "published: seen in a text of the source; from memory: recalled, arithmetic "
            "reproduced; reference: by an independent library or exact arithmetic.",
            style="dim",
        ),
    )
