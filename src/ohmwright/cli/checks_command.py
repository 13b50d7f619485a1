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
from ohmwright.installation.check import CheckResult, Value

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

BySubject = Mapping[str, Sequence[CheckResult]]


def run_checks(*, as_json: bool) -> int:
    """Print expected and computed value of every check; return 0, or 1 if any differs."""
    results = {
        subject: [check.result() for check in checks] for subject, checks in all_checks().items()
    }
    if as_json:
        print_json([_row(subject, each) for subject, of in results.items() for each in of])
    else:
        out().print(*_tables(results), sep="\n")
        out().print(_summary(results))
    return 0 if all(result.agrees for result in _every(results)) else _DIFFERS


def _every(results: BySubject) -> Iterable[CheckResult]:
    return chain.from_iterable(results.values())


def _row(subject: str, result: CheckResult) -> dict[str, Value | bool | None]:
    check, got = result.check, result.got
    return {
        "subject": subject,
        "source": check.source,
        "clause": check.clause,
        "what": check.what,
        "status": check.status,
        "expected": check.expected,
        "got": got if isinstance(got, str) or isfinite(got) else None,
        "tolerance": check.tolerance,
        "agrees": result.agrees,
        "problem": result.problem,
    }


def _tables(results: BySubject) -> Iterator[RenderableType]:
    """Yield a heading for each subject and clause, and a table of the values of each clause."""
    yield _columns([("Subject, source, value", "Expected", "Got", "Off/tol", "Known")])
    for subject, of_subject in results.items():
        yield Text(subject, style="bold")
        for (source, clause), of_clause in groupby(of_subject, _origin):
            yield Text(f" {source}, {clause}", style="italic")
            yield _columns(_cells(result) for result in of_clause)


def _origin(result: CheckResult) -> tuple[str, str]:
    return result.check.source, result.check.clause


def _columns(rows: Iterable[tuple[str | Text, ...]]) -> Table:
    table = Table.grid(padding=(0, 1, 0, 0), expand=True)
    table.add_column(ratio=1)
    for width in (13, 13, 7):
        table.add_column(width=width, justify="right", no_wrap=True)
    table.add_column(width=11, no_wrap=True)
    for row in rows:
        table.add_row(*row)
    return table


def _cells(result: CheckResult) -> tuple[str | Text, ...]:
    check = result.check
    known = Text(check.status) if result.agrees else Text("DIFFERS", style="bold red")
    what = f"  {check.what}" + (f" ({result.problem})" if result.problem else "")
    return what, _figure(check.expected), _figure(result.got), _off(result), known


def _figure(value: Value) -> str:
    return value if isinstance(value, str) else f"{value:.8g}"


def _off(result: CheckResult) -> str:
    """Return the difference as a multiple of the tolerance; nothing for a verdict."""
    expected, got = result.check.expected, result.got
    if isinstance(expected, str) or isinstance(got, str):
        return ""
    return f"{abs(got - expected) / result.check.tolerance:.2f}"


def _summary(results: BySubject) -> Group:
    every = list(_every(results))
    differing = sum(not result.agrees for result in every)
    known = Counter(result.check.status for result in every)
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
