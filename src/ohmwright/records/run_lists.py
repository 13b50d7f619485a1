"""Lists of runs: which there are, how each ended, and why some were refused at their start."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from functools import reduce

from sqlalchemy import ColumnElement, Select, func, or_, select

from ohmwright.engine.run_so_far import is_refusal
from ohmwright.model.event import EVENTS as ANY_EVENT
from ohmwright.model.event import Fault

from .database import Database
from .flat_rows import Row, sortable_time
from .qualified import qualified_runs
from .tables import EVENTS, LEDGER, RESULTS, RUNS, VOIDED_RUNS


@dataclass(frozen=True)
class Filter:
    """Conditions on runs or results; None is any."""

    asset: str | None = None
    model: str | None = None
    verdict: str | None = None
    """A verdict, `unfinished` for a run without an end on record, or `refused` for one that
    measured nothing and is over."""
    since: datetime | None = None
    until: datetime | None = None
    """Before this time."""
    serial: str | None = None
    operator: str | None = None
    """Who began the run."""
    search: str = ""
    """Words, each part of the run's number, unit, serial number, model, procedure, operator or
    date; upper and lower case are the same."""


ANY_RUN = Filter()
UNFINISHED = "unfinished"
REFUSED = "refused"
_NAMES = (RUNS.c[n] for n in ("run_id", "asset", "serial", "model", "procedure", "operator", "at"))
_SEARCHED: ColumnElement[str] = reduce(lambda text, name: text + "\n" + name, _NAMES)
"""The searched columns as one text; line ends keep a word from matching across two columns."""
Query = Select[tuple[object, ...]]


def runs(database: Database, wanted: Filter = ANY_RUN, newest: int | None = None) -> list[Row]:
    """One row for each run, in the order they came; `newest` limits them to so many of the last.

    A row holds the columns of the table of runs but `opening`, with `verdict` and `voided`.
    """
    if wanted.verdict in (UNFINISHED, REFUSED):
        unfinished = fetch_dictionaries(database, selected_runs(wanted).order_by(RUNS.c.number))
        refused = refusals(database, unfinished)
        asked = wanted.verdict == REFUSED
        found = [row for row in unfinished if (row["run_id"] in refused) == asked]
        return found if newest is None else found[-newest:]
    if newest is None:
        return fetch_dictionaries(database, selected_runs(wanted).order_by(RUNS.c.number))
    query = selected_runs(wanted).order_by(RUNS.c.number.desc()).limit(newest)
    return fetch_dictionaries(database, query)[::-1]


def described(database: Database, rows: Iterable[Row]) -> list[Row]:
    """Return rows of runs, each with what qualifies its verdict, and why it was refused if it was.

    By `simulated` a truth value is told.
    """
    every = list(rows)
    refused = refusals(database, every)
    marked = qualified_runs(database, [row["number"] for row in every])
    return [
        row
        | {"simulated": bool(row["simulated"]), "refused": refused.get(row["run_id"])}
        | marked.document(row["number"])
        for row in every
    ]


def count_runs(database: Database, wanted: Filter) -> int:
    """How many runs `wanted` lets through."""
    if wanted.verdict in (UNFINISHED, REFUSED):
        return len(runs(database, wanted))
    counted = select(func.count()).select_from(RUNS).where(*_conditions(wanted))
    with database.read() as connection:
        return int(connection.execute(counted).scalar_one())


def selected_runs(wanted: Filter) -> Query:
    """Query: the runs that `wanted` lets through, each with its verdict, in no order.

    Those unfinished and those refused are one kind here: runs without a verdict.
    """
    verdict = select(LEDGER.c.verdict).where(_decides_run()).limit(1).scalar_subquery()
    columns = [column for column in RUNS.c if column.name != "opening"]
    voided = RUNS.c.number.in_(select(VOIDED_RUNS.c.run)).label("voided")
    query = select(*columns, func.coalesce(verdict, UNFINISHED).label("verdict"), voided)
    return query.where(*_conditions(wanted))


def _decides_run() -> ColumnElement[bool]:
    """Condition on a ledger entry: it has the verdict of the run in the enclosing query."""
    return (LEDGER.c.run == RUNS.c.number) & LEDGER.c.verdict.is_not(None)


def _conditions(wanted: Filter) -> list[ColumnElement[bool]]:
    """Conditions on the table of runs."""
    c = RUNS.c
    pairs = (
        (c.asset, wanted.asset),
        (c.model, wanted.model),
        (c.serial, wanted.serial),
    )
    found = [column == value for column, value in pairs if value is not None]
    if wanted.operator is not None:
        found.append(is_operator(wanted.operator))
    if wanted.since is not None:
        found.append(c.at >= sortable_time(wanted.since))
    if wanted.until is not None:
        found.append(c.at < sortable_time(wanted.until))
    if wanted.verdict in (UNFINISHED, REFUSED):
        found.append(~select(LEDGER.c.run).where(_decides_run()).exists())
    elif wanted.verdict is not None:
        decided = select(LEDGER.c.run).where(LEDGER.c.verdict == wanted.verdict)
        found.append(c.number.in_(decided))
    return found + [_is_in_run(word) for word in wanted.search.split()]


def is_operator(name: str) -> ColumnElement[bool]:
    """Condition: a run is this operator's, also an unattended one, or one of a simulated person."""
    recorded = (name, f"{name} (unattended)", f"{name} (simulated)")
    return RUNS.c.operator.in_(recorded)


def _is_in_run(word: str) -> ColumnElement[bool]:
    """Condition: `word` is part of a searched column, in upper or lower case.

    SQLite ignores the case of ASCII letters only, so a word with others is also searched for in
    lower case, in upper case, and with one capital.
    """
    forms = [word] if word.isascii() else {word, word.lower(), word.upper(), word.capitalize()}
    return or_(*(_SEARCHED.icontains(form, autoescape=True) for form in forms))


def refusals(database: Database, rows: Iterable[Row]) -> dict[str, str]:
    """Why runs among `rows` were refused at their start, by the run's number; others are left out.

    A refused run has no result, and ended by an error: before its unit was known, or one that
    refuses unit or bench.
    """
    open_rows = {row["number"]: row for row in rows if row["verdict"] == UNFINISHED}
    last = (
        select(EVENTS.c.run, func.max(EVENTS.c.number).label("number"))
        .where(EVENTS.c.run.in_(open_rows), EVENTS.c.run.not_in(select(RESULTS.c.run)))
        .group_by(EVENTS.c.run)
        .subquery()
    )
    query = select(EVENTS.c.run, EVENTS.c.body).join(
        last, (last.c.run == EVENTS.c.run) & (last.c.number == EVENTS.c.number)
    )
    found: dict[str, str] = {}
    for one in fetch_dictionaries(database, query):
        event, row = ANY_EVENT.validate_json(one["body"]), open_rows[one["run"]]
        if isinstance(event, Fault) and is_refusal(event, unit_known=bool(row["asset"])):
            found[row["run_id"]] = event.message
    return found


def fetch_dictionaries(database: Database, query: Select[tuple[object, ...]]) -> list[Row]:
    """The rows of a query, as dictionaries."""
    with database.read() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]
