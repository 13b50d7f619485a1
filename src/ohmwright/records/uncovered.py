"""Which results no analyzer certificate covers, or one past due, as their events say."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Boolean, ColumnElement, LargeBinary, and_, bindparam, or_, select
from sqlalchemy.ext.compiler import compiles
from sqlalchemy.sql.compiler import SQLCompiler
from sqlalchemy.sql.functions import FunctionElement

from ohmwright.model.step import MEASURED

from .database import Database
from .flat_rows import sortable_time
from .tables import AT_ITS_EVENT, EVENTS, NOT_VOID, RESULTS


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


_PAST_DUE_RESULT = and_(RESULTS.c.value.is_not(None), _says("expired", "true"))


_IN_ONE_QUERY = 500


def uncovered_runs(database: Database, numbers: Collection[int]) -> frozenset[int]:
    """Return those of these runs that have such a result."""
    return _runs_with(UNCOVERED_RESULT.element, database, numbers)


def past_due_runs(database: Database, numbers: Collection[int]) -> frozenset[int]:
    """Return those of these runs with a value by an analyzer certificate that was past due."""
    return _runs_with(_PAST_DUE_RESULT, database, numbers)


def _runs_with(
    result: ColumnElement[bool], database: Database, numbers: Collection[int]
) -> frozenset[int]:
    query = (
        select(RESULTS.c.run)
        .join(EVENTS, AT_ITS_EVENT)
        .where(RESULTS.c.run.in_(numbers), result)
        .distinct()
    )
    with database.read() as connection:
        return frozenset(connection.execute(query).scalars())


def uncovered_assets(
    database: Database, assets: Sequence[str], *, simulated: bool
) -> frozenset[str]:
    """Return those of these units that have such a value as found or as left."""
    c = RESULTS.c
    query = (
        select(c.asset)
        .join(EVENTS, AT_ITS_EVENT)
        .where(
            c.simulated == int(simulated),
            c.stage.in_(MEASURED),
            NOT_VOID,
            UNCOVERED_RESULT.element,
        )
        .distinct()
    )
    with database.read() as connection:
        return frozenset(
            asset
            for first in range(0, len(assets), _IN_ONE_QUERY)
            for asset in connection.execute(
                query.where(c.asset.in_(assets[first : first + _IN_ONE_QUERY]))
            ).scalars()
        )


def uncovered_points(
    database: Database, simulated: bool, until: datetime
) -> frozenset[tuple[str, str, str]]:
    """Return unit, step and point of each such value as found or as left before `until`."""
    c = RESULTS.c
    query = (
        select(c.asset, c.step, c.point)
        .join(EVENTS, AT_ITS_EVENT)
        .where(
            c.simulated == int(simulated),
            c.stage.in_(MEASURED),
            c.at < sortable_time(until),
            NOT_VOID,
            UNCOVERED_RESULT.element,
        )
        .distinct()
    )
    with database.read() as connection:
        return frozenset((row.asset, row.step, row.point) for row in connection.execute(query))
