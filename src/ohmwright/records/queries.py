"""What is asked of many records at once.

Every query here has an index in the migrations, or reads a summary.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from typing import Any

from sqlalchemy import ColumnElement, Select, func, select
from sqlalchemy import Row as SqlRow

from ohmwright.model.step import Stage

from .chain import BrokenRunError
from .database import Database
from .flat_rows import Row, sortable_time
from .ledger import seal_of_entry
from .seal import Seal
from .tables import LEDGER, NEWEST_RUNS, RESULTS, RUNS, TALLIES


@dataclass(frozen=True)
class Filter:
    """Which runs; None is any."""

    asset: str | None = None
    model: str | None = None
    verdict: str | None = None
    """A verdict, or `cut short`."""
    since: datetime | None = None


CUT_SHORT = "cut short"
_SUMS = tuple(TALLIES.c[n] for n in ("results", "passed", "measured", "errors_ppm", "squares_ppm2"))


def runs(database: Database, wanted: Filter = Filter()) -> list[Row]:
    """One row a run, in the order they came: its table row without `opening`, and `verdict`."""
    verdict = func.coalesce(func.max(LEDGER.c.verdict), CUT_SHORT).label("verdict")
    columns = [column for column in RUNS.c if column.name != "opening"]
    query = (
        select(*columns, verdict)
        .join(LEDGER, LEDGER.c.run == RUNS.c.number)
        .group_by(RUNS.c.number)
        .order_by(RUNS.c.number)
    )
    if wanted.asset is not None:
        query = query.where(RUNS.c.asset == wanted.asset)
    if wanted.model is not None:
        query = query.where(RUNS.c.model == wanted.model)
    if wanted.since is not None:
        query = query.where(RUNS.c.at >= sortable_time(wanted.since))
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
    """Each result of one point at one stage over every unit of a model, oldest first.

    Only columns that its index holds, so that the table is not looked into. Over many years
    this is a long list; `trend` is a short one.
    """
    c = RESULTS.c
    columns = (c.run, c.event, c.asset, c.at, c.value, c.uncertainty, c.target, c.lower, c.upper)
    query = select(*columns, c.verdict).where(*_of_model(model, step, point, stage)).order_by(c.at)
    return query if since is None else query.where(c.at >= sortable_time(since))


def trend(model: str, step: str, point: str, stage: Stage) -> Select[tuple[object, ...]]:
    """Month by month, the tally of one point at one stage over every unit of a model.

    Simulated months come after the others. `error_of` tells the mean error of a row.
    """
    c = TALLIES.c
    return (
        select(c.simulated, c.month, *_SUMS)
        .where(c.model == model, c.step == step, c.point == point, c.stage == stage)
        .order_by(c.simulated, c.month)
    )


@dataclass(frozen=True)
class RelativeError:
    """Measured value less target over several results, in percent of the target."""

    mean: float
    sd: float | None
    """None for a single result."""


def relative_error(tally: SqlRow[Any]) -> RelativeError | None:
    """The error of a row of `trend` or `pass_rates`; None when nothing was measured."""
    count, total = int(tally.measured), int(tally.errors_ppm)
    if count == 0:
        return None
    scaled = count * int(tally.squares_ppm2) - total * total  # whole numbers: nothing cancels
    sd = None if count == 1 else 1e-4 * sqrt(scaled / (count * (count - 1)))
    return RelativeError(1e-4 * total / count, sd)


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
    return select(RESULTS).where(c.verdict == verdict, c.at >= sortable_time(since)).order_by(c.at)


def last_seen(before: datetime | None = None) -> Select[tuple[object, ...]]:
    """The newest run of every unit, the unit not seen for longest first.

    `before` leaves those whose newest run began before it: what is due. `verdict` is None for
    a run cut short, or going on. A unit that was simulated, too, has a row for that.
    """
    c = NEWEST_RUNS.c
    columns = (c.asset, c.model, c.serial, c.run_id, c.at, c.verdict, c.simulated)
    query = select(*columns).order_by(c.at, c.asset)
    return query if before is None else query.where(c.at < sortable_time(before))


def pass_rates() -> Select[tuple[object, ...]]:
    """For each model, step, point and stage: how many results, and how many passed.

    Simulated results have rows of their own. `error_of` tells the mean error of a row.
    """
    c = TALLIES.c
    keys = (c.model, c.step, c.point, c.stage, c.simulated)
    summed = (func.sum(column).label(column.name) for column in _SUMS)
    return select(*keys, *summed).group_by(*keys).order_by(*keys)


def results(database: Database) -> Iterator[Row]:
    """Every flat result with the name of their run, by run and event, as they are read."""
    query = (
        select(RUNS.c.run_id, RUNS.c.serial, RUNS.c.procedure, RESULTS)
        .join(RUNS, RUNS.c.number == RESULTS.c.run)
        .order_by(RESULTS.c.run, RESULTS.c.event)
    )
    with database.read() as connection:
        found = connection.execution_options(yield_per=10_000).execute(query)
        for row in found.mappings():
            yield dict(row)


def seals(database: Database) -> Iterator[Seal]:
    """Every seal that can be read, in the order of the ledger; `audit` says what is wrong."""
    for row in _rows(database, select(LEDGER.c.document).order_by(LEDGER.c.number)):
        with suppress(BrokenRunError):
            seal = seal_of_entry(row["document"])
            if seal is not None:
                yield seal


def fetch_rows(database: Database, query: Select[tuple[object, ...]]) -> Sequence[SqlRow[Any]]:
    """The rows of a query, each a tuple with names."""
    with database.read() as connection:
        return connection.execute(query).all()


def _rows(database: Database, query: Select[tuple[object, ...]]) -> list[Row]:
    with database.read() as connection:
        return [dict(row) for row in connection.execute(query).mappings()]
