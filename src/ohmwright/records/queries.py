"""What is asked of many records at once. Every query here has an index in the migrations."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import ColumnElement, Select, case, func, select

from ohmwright.model.procedure import Stage

from .chain import Broken
from .database import Database
from .flat import Row, stamp
from .ledger import seal_in
from .seal import Seal
from .tables import LEDGER, RESULTS, RUNS


@dataclass(frozen=True)
class Filter:
    """Which runs; None is any."""

    asset: str | None = None
    model: str | None = None
    verdict: str | None = None
    """A verdict, or `cut short`."""
    since: datetime | None = None


CUT_SHORT = "cut short"


def runs(database: Database, wanted: Filter = Filter()) -> list[Row]:
    """One row a run, by the time it began: its table row without `opening`, and `verdict`."""
    verdict = func.coalesce(func.max(LEDGER.c.verdict), CUT_SHORT).label("verdict")
    columns = [column for column in RUNS.c if column.name != "opening"]
    query = (
        select(*columns, verdict)
        .join(LEDGER, LEDGER.c.run == RUNS.c.number)
        .group_by(RUNS.c.number)
        .order_by(RUNS.c.at, RUNS.c.number)
    )
    if wanted.asset is not None:
        query = query.where(RUNS.c.asset == wanted.asset)
    if wanted.model is not None:
        query = query.where(RUNS.c.model == wanted.model)
    if wanted.since is not None:
        query = query.where(RUNS.c.at >= stamp(wanted.since))
    if wanted.verdict is not None:
        query = query.having(func.coalesce(func.max(LEDGER.c.verdict), CUT_SHORT) == wanted.verdict)
    return _rows(database, query)


def history(asset: str, step: str, point: str) -> Select[tuple[object, ...]]:
    """All results of one point of one unit, oldest first."""
    c = RESULTS.c
    here = (c.asset == asset, c.step == step, c.point == point)
    return select(RESULTS).where(*here).order_by(c.at)


def population(
    model: str, step: str, point: str, stage: Stage, since: datetime | None = None
) -> Select[tuple[object, ...]]:
    """All results of one point at one stage over every unit of a model, oldest first."""
    query = select(RESULTS).where(*_of_model(model, step, point, stage)).order_by(RESULTS.c.at)
    return query if since is None else query.where(RESULTS.c.at >= stamp(since))


def spread(model: str, step: str, point: str, stage: Stage) -> Select[tuple[object, ...]]:
    """Of the same results: how many, their mean, and the mean of their squares."""
    value = RESULTS.c.value
    return select(
        func.count(value).label("results"),
        func.avg(value).label("mean"),
        func.avg(value * value).label("mean_square"),
    ).where(*_of_model(model, step, point, stage))


def _of_model(model: str, step: str, point: str, stage: Stage) -> tuple[ColumnElement[bool], ...]:
    c = RESULTS.c
    return c.model == model, c.step == step, c.point == point, c.stage == stage


def with_verdict(verdict: str, since: datetime) -> Select[tuple[object, ...]]:
    """All results with a verdict since a date, oldest first."""
    c = RESULTS.c
    return select(RESULTS).where(c.verdict == verdict, c.at >= stamp(since)).order_by(c.at)


def last_seen() -> Select[tuple[object, ...]]:
    """For each unit, when its newest run began: what a worklist starts from."""
    newest = func.max(RUNS.c.at).label("at")
    return select(RUNS.c.asset, newest).group_by(RUNS.c.asset).order_by(newest)


def pass_rates() -> Select[tuple[object, ...]]:
    """For each model, step, point and stage: how many results, and how many passed."""
    c = RESULTS.c
    keys = (c.model, c.step, c.point, c.stage)
    passed = func.sum(case((c.verdict == "pass", 1), else_=0)).label("passed")
    return select(*keys, func.count().label("results"), passed).group_by(*keys)


def results(database: Database, wanted: Filter = Filter()) -> Iterator[Row]:
    """Flat results with the name of their run, by run and event, as they are read."""
    query = (
        select(RUNS.c.run_id, RUNS.c.serial, RUNS.c.procedure, RESULTS)
        .join(RUNS, RUNS.c.number == RESULTS.c.run)
        .order_by(RESULTS.c.run, RESULTS.c.event)
    )
    if wanted.asset is not None:
        query = query.where(RESULTS.c.asset == wanted.asset)
    if wanted.model is not None:
        query = query.where(RESULTS.c.model == wanted.model)
    if wanted.verdict is not None:
        query = query.where(RESULTS.c.verdict == wanted.verdict)
    if wanted.since is not None:
        query = query.where(RESULTS.c.at >= stamp(wanted.since))
    with database.read() as connection:
        found = connection.execution_options(yield_per=10_000).execute(query)
        for row in found.mappings():
            yield dict(row)


def seals(database: Database) -> Iterator[Seal]:
    """Every seal that can be read, in the order of the ledger; `audit` says what is wrong."""
    for row in _rows(database, select(LEDGER.c.document).order_by(LEDGER.c.number)):
        with suppress(Broken):
            seal = seal_in(row["document"])
            if seal is not None:
                yield seal


def ask(database: Database, query: Select[tuple[object, ...]]) -> list[Row]:
    """The rows of a query."""
    return _rows(database, query)


def _rows(database: Database, query: Select[tuple[object, ...]]) -> list[Row]:
    with database.read() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]
