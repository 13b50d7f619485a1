"""What a store is measured against: SQLite alone, and questions to its plain tables alone."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import chain
from pathlib import Path

from sqlalchemy import BigInteger, Select, case, cast, func, select

from ohmwright.model.event import Event
from ohmwright.model.step import Stage
from ohmwright.records import queries, run_lists
from ohmwright.records.canonical_json import event_bytes
from ohmwright.records.flat_rows import sortable_time
from ohmwright.records.tables import LEDGER, RESULTS, RUNS

Query = Select[tuple[object, ...]]


class EventsAlone:
    """The bytes of one event put durably into a table of SQLite, with nothing around it."""

    def __init__(self, path: Path, event: Event) -> None:
        self._body, self._hash, self._number = event_bytes(event), bytes(32), 0
        self._connection = sqlite3.connect(path, isolation_level=None)
        for text in ("PRAGMA journal_mode = WAL", "PRAGMA synchronous = FULL", _EVENTS_ALONE):
            self._connection.execute(text)

    def single(self) -> None:
        """One row, one commit."""
        self._commit(1)

    def batch(self) -> None:
        """A hundred rows, one statement, one commit."""
        self._commit(100)

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    def _commit(self, rows: int) -> None:
        first, self._number = self._number, self._number + rows
        values = [(1, number, self._body, self._hash) for number in range(first, self._number)]
        self._connection.execute("BEGIN IMMEDIATE")
        self._connection.execute(
            f"INSERT INTO events VALUES {', '.join(['(?, ?, ?, ?)'] * rows)}",
            [*chain.from_iterable(values)],
        )
        self._connection.execute("COMMIT")


_EVENTS_ALONE = """
CREATE TABLE events (
    run INTEGER, number INTEGER, body BLOB, hash BLOB, PRIMARY KEY (run, number)
) WITHOUT ROWID, STRICT
"""


@dataclass(frozen=True)
class Question:
    """One question, asked twice: of the store, and of runs, ledger and results alone."""

    name: str
    ours: Query
    plain: Query
    is_list: bool = False
    """Whether it hands over everything of a kind: then the rows handed over take the time."""


def questions(end: datetime, model: str, asset: str) -> list[Question]:
    """Those that reports and analyses of a fleet need; lists last."""
    of_point: tuple[str, str, str, Stage] = (model, "cut", "300 ohm", "as_found")
    month, week, year = (end - timedelta(days=days) for days in (30, 7, 365))
    newest = queries.population(*of_point, month)
    failed = queries.with_verdict("fail", week)
    history = queries.history(asset, "cut", "300 ohm")
    everything = queries.population(*of_point)
    serial, old, failing, text = (
        _listed(wanted, 100)
        for wanted in (
            run_lists.Filter(serial=asset[-3:]),
            run_lists.Filter(since=end - timedelta(days=1000), until=end - timedelta(days=993)),
            run_lists.Filter(verdict="undecided"),
            run_lists.Filter(search=f"{asset} {model.split()[-1]}"),
        )
    )
    return [
        Question("history of a unit's point", history, history),
        Question("a model's point, newest month", newest, newest),
        Question("failed in the newest week", failed, failed),
        Question("trend of a model's point, by month", queries.trend(*of_point), _trend(*of_point)),
        Question("pass rates of the whole fleet", queries.pass_rates(), _pass_rates()),
        Question("units not seen for a year", queries.last_seen(year), _last_seen(year)),
        Question("runs listed by serial number", serial, serial),
        Question("list: 100 runs of a week long ago", old, old, is_list=True),
        Question("list: 100 runs by a rare verdict", failing, failing, is_list=True),
        Question("list: runs by parts of tag and model", text, text, is_list=True),
        Question("list: a model's point, all years", everything, everything, is_list=True),
        Question("list: every unit's newest run", queries.last_seen(), _last_seen(), is_list=True),
    ]


def _listed(wanted: run_lists.Filter, most: int) -> Query:
    """As `record list` asks."""
    return run_lists.selected_runs(wanted).order_by(RUNS.c.number.desc()).limit(most)


def _sums() -> list[object]:
    c = RESULTS.c
    error = cast(func.round(1e6 * ((c.value - c.target) / c.target)), BigInteger)
    passed = func.sum(case((c.verdict == "pass", 1), else_=0))
    return [func.count(), passed, func.count(error), func.sum(error), func.sum(error * error)]


def _trend(model: str, step: str, point: str, stage: str) -> Query:
    c = RESULTS.c
    month = func.substr(c.at, 1, 7)
    return (
        select(c.simulated, month, *_sums())
        .where(c.model == model, c.step == step, c.point == point, c.stage == stage)
        .group_by(c.simulated, month)
    )


def _pass_rates() -> Query:
    c = RESULTS.c
    keys = (c.model, c.step, c.point, c.stage, c.simulated)
    return select(*keys, *_sums()).group_by(*keys)


def _last_seen(before: datetime | None = None) -> Query:
    """SQLite takes the other columns from the row of the maximum; its verdict by a key."""
    c = RUNS.c
    newest = (
        select(c.asset, c.model, c.serial, c.run_id, func.max(c.at).label("at"))
        .add_columns(c.number, c.simulated)
        .group_by(c.asset, c.simulated)
        .subquery()
    )
    n = newest.c
    verdict = select(func.max(LEDGER.c.verdict)).where(LEDGER.c.run == n.number)
    columns = (n.asset, n.model, n.serial, n.number, n.run_id, n.at)
    told = (verdict.scalar_subquery(), n.simulated)
    query = select(*columns, *told).order_by(n.at, n.asset)
    return query if before is None else query.where(n.at < sortable_time(before))
