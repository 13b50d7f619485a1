"""The commands `record list` and `record show`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

from rich.table import Table
from rich.text import Text

from ohmwright.api.jobs import unit_in_number
from ohmwright.api.open_records import resolved_run_id
from ohmwright.api.refused_attempts import refused_attempts
from ohmwright.engine.contradictions import quick_contradictions
from ohmwright.engine.run_so_far import results
from ohmwright.model.errors import UsageError
from ohmwright.model.result import Result, Verdict
from ohmwright.model.typed_command import typed_command
from ohmwright.records.flat_rows import Row
from ohmwright.records.qualified import Qualified
from ohmwright.records.run_lists import (
    REFUSED,
    UNFINISHED,
    Filter,
    count_runs,
    described,
    runs,
)
from ohmwright.reports.measurand_text import extrapolated_lines, measurand_text
from ohmwright.reports.text import printable
from ohmwright.reports.verdict_grounds import READINGS_MARK

from .budget_table import budget_table
from .console import out, print_json
from .list_marks import print_marks
from .open_records import open_records_for_reading
from .options import RunFilterOptions
from .run_report import exit_code, print_run
from .run_summary import VERDICT_STYLES
from .table_format import one_below_another

_MOST_LINES = 100
"""Runs in the table of `record list` where nobody says how many; a screen holds fewer."""
_SIMULATED = "sim."
_SIMULATED_NOTE = f"{_SIMULATED}: simulated, so no evidence about any real unit."
_COPIED = ("run_id", "asset", "serial")
_NAMED = ("operator", "procedure")
_IN_JSON = (
    *("simulated", "not_traceable", "analyzer_past_due", "asset", "model", "serial"),
    *("procedure", "operator", "at", "verdict", "refused"),
)
_LEAST_WIDTH = 80
_ROOM_FOR_DATE = 18
"""Characters of the date and of the blanks between all columns."""
_LEAST_FOR_NAME = 12
_ROOM_FOR_RUN = 31
"""Characters that leave room for the rest of a table of 80; what is longer takes more lines."""


def run_filter(options: RunFilterOptions) -> Filter:
    """Return the filter of runs that the options select. Raises UsageError for a wrong verdict."""
    known, verdict = (*get_args(Verdict), UNFINISHED, REFUSED), options.verdict
    if verdict is not None and verdict not in known:
        raise UsageError(
            f"There is no verdict '{verdict}'.", do=f"Give one of: {', '.join(known)}."
        )
    return Filter(
        options.asset,
        options.model,
        verdict,
        options.since,
        options.until,
        options.serial,
        options.operator,
        options.search,
    )


def list_runs(records: str | None, selected: Filter, newest: int | None, *, as_json: bool) -> None:
    """Print one line for each run that `selected` lets through, oldest first.

    `newest`: how many of the last of them; None is all as JSON, and 100 as a table.
    """
    most = newest if newest is not None or as_json else _MOST_LINES
    with open_records_for_reading(records) as store:
        rows = runs(store.database, selected, most)
        rows = sorted(rows + refused_attempts(store, selected), key=lambda row: row["number"])
        rows = described(store.database, rows)
        left_out = 0 if most is None else count_runs(store.database, selected) - most
    if as_json:
        print_json([_run_json(row) for row in rows])
        return
    print_runs(rows)
    refused = [row["run_id"] for row in rows if row["refused"] is not None]
    if refused:
        show = typed_command(f"record show {refused[-1]}")
        said = f"Why a run was refused: {show}"
        out().print(Text(printable(said), style="dim"), soft_wrap=True)
    if left_out > 0:
        out().print(f"{left_out} older runs are not shown: --newest {left_out + len(rows)}")


def _run_json(row: Row) -> dict[str, object]:
    said = {"run": row["run_id"], "void": row["voided"]}
    return said | {key: row[key] for key in _IN_JSON}


def print_runs(rows: Sequence[Row]) -> None:
    """Print the table of `described` runs with what its marks mean; at a narrow terminal lines."""
    if not rows:
        out().print("No runs like that.")
        return
    table = runs_table(rows)
    out().print(table if out().width >= _LEAST_WIDTH else one_below_another(table))
    if any(row["simulated"] for row in rows):
        out().print(Text(_SIMULATED_NOTE, style="dim"), soft_wrap=True)
    uncovered, past_due = (
        frozenset(row["number"] for row in rows if row[key])
        for key in ("not_traceable", "analyzer_past_due")
    )
    print_marks(Qualified(uncovered, past_due))


def runs_table(rows: Sequence[Row]) -> Table:
    """Return a table of `described` runs, a line each; names stand there where there is room.

    What is copied is never cut: where it is long it takes more lines. A refused run may name no
    unit but in its number.
    """
    rows = [row | {"asset": row["asset"] or unit_in_number(row["run_id"])} for row in rows]
    table = Table(box=None, pad_edge=False)
    verdicts = [_verdict(row) for row in rows]
    run, unit, serial = (max(len(_cell(row[key])) for row in rows) for key in _COPIED)
    room = out().width - _ROOM_FOR_DATE - max(map(len, verdicts)) - run - unit - serial
    is_short = room >= 0
    table.add_column("Run", no_wrap=run <= _ROOM_FOR_RUN, overflow="fold")
    for name in ("Date", "Verdict"):
        table.add_column(name, no_wrap=True)
    for name in ("Unit", "Serial"):
        table.add_column(name, no_wrap=is_short, overflow="fold")
    named = _named(room)
    for name in named:
        table.add_column(name.capitalize())
    for row, verdict in zip(rows, verdicts, strict=True):
        copied = [Text(_cell(row[key])) for key in _COPIED]
        names = (_in_one_line(_cell(row[key])) for key in named)
        table.add_row(copied[0], row["at"][:10], verdict, *copied[1:], *names)
    return table


def _verdict(row: Row) -> Text:
    """Return how a run ended, whether it is void, and whether it was simulated."""
    ended = _verdict_words(row) if row["refused"] is None else REFUSED
    if row["not_traceable"] or row["analyzer_past_due"]:
        ended += READINGS_MARK
    said, style = ended, VERDICT_STYLES.get(row["verdict"], "dim")
    if row["voided"]:
        said, style = f"void ({ended})", "bold"
    return Text(f"{said} {_SIMULATED}" if row["simulated"] else said, style=style)


def _verdict_words(row: Row) -> str:
    """Return the verdict of a run; a sweep has no limits, by which nothing could be decided.

    `record show` tells points of it that did not settle.
    """
    limitless = row["work"] == "sweep" and row["verdict"] == "undecided"
    return "no limits" if limitless else str(row["verdict"])


def _named(room: int) -> tuple[str, ...]:
    """Return the columns that a name can be read in where `room` characters are left.

    A narrow terminal shows cells one below another, all of them.
    """
    if out().width < _LEAST_WIDTH:
        return _NAMED
    return _NAMED[: max(0, room // _LEAST_FOR_NAME)]


def _cell(text: str) -> str:
    """Printable text; empty where there is none, as of a run that was refused before it began."""
    return printable(text) if text else ""


def _in_one_line(text: str) -> Text:
    """A cell that is cut where its column is narrower, and never wrapped."""
    return Text(text, no_wrap=True, overflow="ellipsis")


def _print_meaning(found: Sequence[Result]) -> None:
    """Print what the values are, and of which steps some were extrapolated in time."""
    extrapolated = tuple(extrapolated_lines(found))
    heading = "Extrapolated in time, with the last reading where it is far off:"
    for said in filter(None, (measurand_text(found), heading * bool(extrapolated), *extrapolated)):
        out().print(Text(printable(said)), soft_wrap=True)


def show_run(run_id: str, records: str | None, *, as_json: bool, budgets: bool) -> int:
    """Print the tables of one run, optionally its uncertainty budgets; return its exit code.

    What its own record contradicts is named, such as points without a result.
    """
    with open_records_for_reading(records) as store:
        run_id = resolved_run_id(store, run_id)
        events, run = store.events(run_id), store.stored_run(run_id)
        sealed = None if run.seal is None else run.seal.statement
        print_run(run_id, events, store, as_json=as_json, addenda=run.addenda, sealed=sealed)
    if not as_json:
        _print_meaning(tuple(results(events)))
        for number, said in quick_contradictions(events):
            line = printable(f"This record does not agree with itself: event {number}: {said}")
            out().print(Text(line, style="bold red"), soft_wrap=True)
        if budgets:
            out().print(budget_table(results(events)))
    return exit_code(events)
