"""The command `checks`: known values recomputed by the code that a job runs, as a table."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain, groupby
from math import isfinite

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright import __version__
from ohmwright.installation.catalogue import all_checks
from ohmwright.installation.check import Outcome, Value

from .console import out, print_json

_DIFFERS = 1
SHOWS = (
    "What this shows: on this computer, with the versions installed, the functions that a job "
    "runs (budget, decision, settled value, crest factor, limits, hashes and seals) give the "
    "values above."
)
SHOWS_NOT = (
    "What it does not show: that the instruments, their wiring and their command sets are right, "
    "that the analyzer's calibration holds, that a procedure and its limits fit the generator, or "
    "that the bench measures what it should. Check those with `ohmwright doctor` and with a unit "
    "whose output you know."
)

BySubject = Mapping[str, Sequence[Outcome]]


def run_checks(*, as_json: bool) -> int:
    """Print expected and computed value of every check; return 0, or 1 if any differs."""
    outcomes = {
        subject: [check.outcome() for check in checks] for subject, checks in all_checks().items()
    }
    if as_json:
        print_json([_row(subject, each) for subject, of in outcomes.items() for each in of])
    else:
        out().print(*_tables(outcomes), sep="\n")
        out().print(_summary(outcomes))
    return 0 if all(outcome.agrees for outcome in _every(outcomes)) else _DIFFERS


def _every(outcomes: BySubject) -> Iterable[Outcome]:
    return chain.from_iterable(outcomes.values())


def _row(subject: str, outcome: Outcome) -> dict[str, Value | bool | None]:
    check, got = outcome.check, outcome.got
    return {
        "subject": subject,
        "source": check.source,
        "clause": check.clause,
        "what": check.what,
        "status": check.status,
        "expected": check.expected,
        "got": got if isinstance(got, str) or isfinite(got) else None,
        "tolerance": check.tolerance,
        "agrees": outcome.agrees,
        "problem": outcome.problem,
    }


def _tables(outcomes: BySubject) -> Iterator[RenderableType]:
    """Yield a heading for each subject and clause, and a table of the values of each clause."""
    yield _columns([("Subject, source, value", "Expected", "Got", "Off/tol", "Known")])
    for subject, of_subject in outcomes.items():
        yield Text(subject, style="bold")
        for (source, clause), of_clause in groupby(of_subject, _origin):
            yield Text(f" {source}, {clause}", style="italic")
            yield _columns(_cells(outcome) for outcome in of_clause)


def _origin(outcome: Outcome) -> tuple[str, str]:
    return outcome.check.source, outcome.check.clause


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
    what = f"  {check.what}" + (f" ({outcome.problem})" if outcome.problem else "")
    return what, _figure(check.expected), _figure(outcome.got), _off(outcome), known


def _figure(value: Value) -> str:
    return value if isinstance(value, str) else f"{value:.8g}"


def _off(outcome: Outcome) -> str:
    """Return the difference as a multiple of the tolerance; nothing for a verdict."""
    expected, got = outcome.check.expected, outcome.got
    if isinstance(expected, str) or isinstance(got, str):
        return ""
    return f"{abs(got - expected) / outcome.check.tolerance:.2f}"


def _summary(outcomes: BySubject) -> Group:
    every = list(_every(outcomes))
    differing = sum(not outcome.agrees for outcome in every)
    known = Counter(outcome.check.status for outcome in every)
    verdict = "all agree" if differing == 0 else f"{differing} DIFFER"
    counts = ", ".join(f"{count} {status}" for status, count in known.most_common())
    return Group(
        Text(
            f"\nohmwright {__version__}, {len(every)} checks: {verdict}.",
            style="green" if differing == 0 else "bold red",
        ),
        Text(
            f"Known how: {counts} (published: seen in a text of the source; from memory: recalled, "
            "the arithmetic reproduced; reference: no document prints it, an independent library "
            "or exact arithmetic gave it).\n"
        ),
        Text(f"{SHOWS}\n"),
        Text(SHOWS_NOT),
    )
