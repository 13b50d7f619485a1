"""Which results no analyzer certificate covers, or one past due, as their events say."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Generic, TypeVar

from sqlalchemy import Boolean, ColumnElement, LargeBinary, Select, and_, bindparam, or_, select
from sqlalchemy import Row as SqlRow
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement

from ohmwright.model.step import MEASURED

from .database import Database
from .flat_rows import sortable_time
from .tables import AT_ITS_EVENT, EVENTS, NOT_VOID, RESULTS, RUNS

Key = TypeVar("Key")
PointOfUnit = tuple[str, str, str]
"""Unit, step and point."""


@dataclass(frozen=True, slots=True)
class Qualified(Generic[Key]):
    """What of a list has a value whose verdict is to be qualified, and why."""

    uncovered: frozenset[Key] = frozenset()
    """What has a value that no analyzer certificate covers."""
    past_due: frozenset[Key] = frozenset()
    """What has a value by an analyzer certificate that was past due."""

    def __contains__(self, key: object) -> bool:
        return key in self.uncovered or key in self.past_due

    def among(self, keys: Iterable[Key]) -> Qualified[Key]:
        """Return the same of `keys` alone."""
        wanted = frozenset(keys)
        return Qualified(self.uncovered & wanted, self.past_due & wanted)

    def document(self, key: Key) -> dict[str, bool]:
        """Return what JSON and tables for an analysis say of one of them."""
        return {"not_traceable": key in self.uncovered, "analyzer_past_due": key in self.past_due}


class _Holds(FunctionElement[bool]):
    """Whether the first bytes hold the second; a place from 1 on counts as true."""

    type = Boolean()
    inherit_cache = True


@compiles(_Holds, "sqlite")
def _holds_in_sqlite(element: _Holds, compiler: SQLCompiler, **options: Any) -> str:
    return f"(instr({compiler.process(element.clauses, **options)}) > 0)"


@compiles(_Holds, "postgresql")
def _holds_in_postgresql(element: _Holds, compiler: SQLCompiler, **options: Any) -> str:
    return f"(pg_catalog.position({compiler.process(element.clauses, **options)}) > 0)"


def _says(key: str, value: str) -> ColumnElement[bool]:
    said = bindparam(None, f'"{key}":{value}'.encode(), LargeBinary)
    return _Holds(EVENTS.c.body, said)


UNCOVERED_RESULT = and_(
    RESULTS.c.value.is_not(None),
    or_(_says("traceability", '"none"'), _says("traceability", '"not covered"')),
).label("uncovered")
"""Whether a result joined to its event has a value that no certificate covers. What persons wrote
has its quotation marks escaped in JSON, and cannot say so."""
PAST_DUE_RESULT = and_(RESULTS.c.value.is_not(None), _says("expired", "true")).label("past_due")
"""Whether it has a value by an analyzer certificate that was past due."""
_IN_ONE_QUERY = 500


def qualified_runs(database: Database, numbers: Collection[int]) -> Qualified[int]:
    """Return those of these runs that have such results."""
    c = RESULTS.c
    rows = _rows_with_such(database, (c.run,), c.run.in_(numbers))
    return _qualified((row.run, row) for row in rows)


def qualified_run_ids(database: Database, run_ids: Sequence[str]) -> Qualified[str]:
    """Return the same by the names of the runs."""
    rows = _rows_among(database, RUNS.c.run_id, run_ids, RUNS.c.number == RESULTS.c.run)
    return _qualified((row.run_id, row) for row in rows)


def qualified_assets(
    database: Database, assets: Sequence[str], *, simulated: bool
) -> Qualified[str]:
    """Return those of these units that have such a value as found or as left."""
    rows = _rows_among(database, RESULTS.c.asset, assets, *_measured(simulated=simulated))
    return _qualified((row.asset, row) for row in rows)


def qualified_points(
    database: Database, until: datetime, *, simulated: bool
) -> Qualified[PointOfUnit]:
    """Return the points of units with such a value as found or as left before `until`."""
    c = RESULTS.c
    key = (c.asset, c.step, c.point)
    before = c.at < sortable_time(until)
    rows = _rows_with_such(database, key, *_measured(simulated=simulated), before)
    return _qualified(((row.asset, row.step, row.point), row) for row in rows)


def _measured(*, simulated: bool) -> tuple[ColumnElement[bool], ...]:
    c = RESULTS.c
    return c.simulated == int(simulated), c.stage.in_(MEASURED), NOT_VOID


def _rows_among(
    database: Database,
    key: ColumnElement[str],
    wanted: Sequence[str],
    *conditions: ColumnElement[bool],
) -> Iterator[SqlRow[Any]]:
    """Yield the rows whose key is one of `wanted`, which may be too many for one query."""
    for first in range(0, len(wanted), _IN_ONE_QUERY):
        among = key.in_(wanted[first : first + _IN_ONE_QUERY])
        yield from _rows_with_such(database, (key,), *conditions, among)


def _rows_with_such(
    database: Database, key: tuple[ColumnElement[Any], ...], *conditions: ColumnElement[bool]
) -> Sequence[SqlRow[Any]]:
    query: Select[tuple[Any, ...]] = (
        select(*key, UNCOVERED_RESULT, PAST_DUE_RESULT)
        .join(EVENTS, AT_ITS_EVENT)
        .where(*conditions, or_(UNCOVERED_RESULT.element, PAST_DUE_RESULT.element))
        .distinct()
    )
    with database.read() as connection:
        return connection.execute(query).all()


def _qualified(rows: Iterable[tuple[Key, SqlRow[Any]]]) -> Qualified[Key]:
    every = tuple(rows)
    return Qualified(
        frozenset(key for key, row in every if row.uncovered),
        frozenset(key for key, row in every if row.past_due),
    )
