"""Queries over many runs. Each has an index in the migrations, or reads a summary table.

`history`, `population` and `with_verdict` have no command yet: they are for fleet reports to come,
whose speed `scripts/bench/store.py` measures.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, exists, func, or_, select
from sqlalchemy import Row as SqlRow

from ohmwright.model.step import MEASURED, Stage
from ohmwright.model.tolerance import NO_UPPER_LIMIT

from .database import Database
from .flat_rows import Row, sortable_time, with_settings
from .qualified import PAST_DUE_RESULT, UNCOVERED_RESULT
from .run_lists import ANY_RUN, Filter, is_operator
from .tables import (
    AT_ITS_EVENT,
    EVENTS,
    NEWEST_RUNS,
    NOT_VOID,
    RESULTS,
    RUNS,
    TALLIES,
    VOIDED_RUNS,
)

_SUMS = tuple(TALLIES.c[n] for n in ("results", "passed", "measured", "errors_ppm", "squares_ppm2"))


def history(asset: str, step: str, point: str) -> Select[tuple[object, ...]]:
    """Query: every result of one point of one unit, oldest first, without those of voided runs."""
    c = RESULTS.c
    here = (c.asset == asset, c.step == step, c.point == point, NOT_VOID)
    return select(RESULTS).where(*here).order_by(c.at)


def population(
    model: str, step: str, point: str, stage: Stage, since: datetime | None = None
) -> Select[tuple[object, ...]]:
    """Query: each result of one point at one stage over every unit of a model, oldest first.

    Only columns that its index holds, so that the table itself is not read. Over many years this is
    a long list; `trend` is a short one.
    """
    c = RESULTS.c
    columns = (c.run, c.event, c.asset, c.at, c.value, c.uncertainty, c.target, c.lower, c.upper)
    query = select(*columns, c.verdict).where(*_of_model(model, step, point, stage)).order_by(c.at)
    return query if since is None else query.where(c.at >= sortable_time(since))


def trend(model: str, step: str, point: str, stage: Stage) -> Select[tuple[object, ...]]:
    """Query: for each month the sums over the results of one point at one stage of a model.

    Simulated months come after the others. `relative_error` gives the mean error of a row.
    """
    c = TALLIES.c
    return (
        select(c.simulated, c.month, *_SUMS)
        .where(c.model == model, c.step == step, c.point == point, c.stage == stage)
        .order_by(c.simulated, c.month)
    )


@dataclass(frozen=True)
class RelativeError:
    """Mean and standard deviation of measured value less target, in percent of the target."""

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


def _of_model(model: str, step: str, point: str, stage: Stage) -> tuple[ColumnElement[bool], ...]:
    """Conditions on results: of one point at one stage of a model, in runs that are not void."""
    c = RESULTS.c
    return c.model == model, c.step == step, c.point == point, c.stage == stage, NOT_VOID


def creep_values(simulated: bool, model: str | None = None) -> Select[tuple[object, ...]]:
    """Query: every value as found or as left with its limits, by point, then unit, then time.

    Without sweeps, which have no limits, values that must only be at least a limit, for which there
    is no tolerance, and voided runs; of simulated units or of real ones.
    """
    c = RESULTS.c
    columns = (c.model, c.step, c.point, c.asset, c.run, c.stage, c.at, c.quantity, c.value)
    query = (
        select(*columns, c.uncertainty, c.target, c.lower, c.upper)
        .where(
            c.simulated == int(simulated),
            c.stage.in_(MEASURED),
            c.value.is_not(None),
            c.target > 0,
            c.upper > c.lower,
            c.upper < NO_UPPER_LIMIT,
            NOT_VOID,
        )
        .order_by(c.model, c.step, c.point, c.asset, c.at, c.run, c.event)
    )
    return query if model is None else query.where(c.model == model)


def adjusted_runs(simulated: bool) -> Select[tuple[object, ...]]:
    """Query: the number of each run that has a result of the stage `adjust`."""
    c = RESULTS.c
    return select(c.run).where(c.stage == "adjust", c.simulated == int(simulated)).distinct()


def reported_results(
    simulated: bool, since: datetime, until: datetime
) -> Select[tuple[object, ...]]:
    """Query: every result from `since` to before `until`, and every failure as found before.

    In the order of time, with the name of the run, and whether no analyzer certificate covers a
    value, or one that was past due; without sweeps and voided runs. Earlier failures are told
    without those of a point that was measured again in its run, whose last result alone counts.
    """
    c = RESULTS.c
    failed_before = (c.verdict == "fail", c.stage == "as_found", ~_measured_again())
    return (
        select(RUNS.c.run_id, RUNS.c.serial, RESULTS, UNCOVERED_RESULT, PAST_DUE_RESULT)
        .join(RUNS, RUNS.c.number == c.run)
        .join(EVENTS, AT_ITS_EVENT)
        .where(
            c.simulated == int(simulated),
            c.kind != "sweep",
            NOT_VOID,
            c.at < sortable_time(until),
            or_(c.at >= sortable_time(since), and_(*failed_before)),
        )
        .order_by(c.at, c.run, c.event)
    )


def _measured_again() -> ColumnElement[bool]:
    """Condition on a result: the same run has a later one of its point at its stage."""
    c, later = RESULTS.c, RESULTS.alias("later").c
    return exists().where(
        later.run == c.run,
        later.event > c.event,
        later.stage == c.stage,
        later.step == c.step,
        later.point == c.point,
    )


def void_runs(simulated: bool, since: datetime, until: datetime) -> Select[tuple[str]]:
    """Query: the names of the void runs that began from `since` to before `until`."""
    c = RUNS.c
    return (
        select(c.run_id)
        .join(VOIDED_RUNS, VOIDED_RUNS.c.run == c.number)
        .where(
            c.simulated == int(simulated),
            c.at >= sortable_time(since),
            c.at < sortable_time(until),
        )
    )


def adjust_events(
    simulated: bool, since: datetime, until: datetime
) -> Select[tuple[int, int, bytes]]:
    """Query: run, number and JSON of each event with the result of an adjustment point."""
    c = RESULTS.c
    return (
        select(c.run, c.event, EVENTS.c.body)
        .join(EVENTS, AT_ITS_EVENT)
        .where(
            c.simulated == int(simulated),
            c.stage == "adjust",
            c.at >= sortable_time(since),
            c.at < sortable_time(until),
        )
    )


def with_verdict(verdict: str, since: datetime) -> Select[tuple[object, ...]]:
    """Query: every result with a verdict since a date, oldest first, without voided runs."""
    c = RESULTS.c
    wanted = (c.verdict == verdict, c.at >= sortable_time(since), NOT_VOID)
    return select(RESULTS).where(*wanted).order_by(c.at)


def last_seen(before: datetime | None = None) -> Select[tuple[object, ...]]:
    """Query: the newest run of every unit, the unit not seen for longest first.

    `before` selects units whose newest run began before it: those that are due. `verdict` is None
    for a run that is not finished. A unit that was also simulated has a second row for that. A run
    that was refused before its unit was known is no unit's.
    """
    c = NEWEST_RUNS.c
    columns = (c.asset, c.model, c.serial, c.run, c.run_id, c.at, c.verdict, c.simulated)
    query = select(*columns).where(c.asset != "").order_by(c.at, c.asset)
    return query if before is None else query.where(c.at < sortable_time(before))


def newest_run_of(asset: str, simulated: bool) -> Select[tuple[object, ...]]:
    """Query: the newest run of a unit, simulated or real, sweeps left out; no row without one."""
    c = NEWEST_RUNS.c
    columns = (c.run_id, c.model, c.serial)
    return select(*columns).where(c.asset == asset, c.simulated == int(simulated))


def pass_rates() -> Select[tuple[object, ...]]:
    """Query: for each model, step, point and stage how many results there are and how many passed.

    Simulated results have rows of their own. `relative_error` gives the mean error of a row.
    """
    c = TALLIES.c
    keys = (c.model, c.step, c.point, c.stage, c.simulated)
    summed = (func.sum(column).label(column.name) for column in _SUMS)
    return select(*keys, *summed).group_by(*keys).order_by(*keys)


def results(database: Database, wanted: Filter = ANY_RUN) -> Iterator[Row]:
    """Yield flat results with the name of their run, by run and event, as they are read.

    `wanted`: conditions on each result, its verdict among them. A row also says from its event what
    was set (mode, setting and load) and what qualifies its verdict, and by `voided` whether the run
    is void.
    """
    query = (
        select(
            *(RUNS.c.run_id, RUNS.c.serial, RUNS.c.procedure, RESULTS),
            EVENTS.c.body,
            UNCOVERED_RESULT.element.label("not_traceable"),
            PAST_DUE_RESULT.element.label("analyzer_past_due"),
            RESULTS.c.run.in_(select(VOIDED_RUNS.c.run)).label("voided"),
        )
        .join(RUNS, RUNS.c.number == RESULTS.c.run)
        .join(EVENTS, AT_ITS_EVENT)
        .order_by(RESULTS.c.run, RESULTS.c.event)
    )
    for column, value in (
        (RESULTS.c.asset, wanted.asset),
        (RESULTS.c.model, wanted.model),
        (RESULTS.c.verdict, wanted.verdict),
        (RUNS.c.serial, wanted.serial),
    ):
        query = query if value is None else query.where(column == value)
    if wanted.operator is not None:
        query = query.where(is_operator(wanted.operator))
    if wanted.since is not None:
        query = query.where(RESULTS.c.at >= sortable_time(wanted.since))
    if wanted.until is not None:
        query = query.where(RESULTS.c.at < sortable_time(wanted.until))
    with database.read() as connection:
        found = connection.execution_options(yield_per=10_000).execute(query)
        for row in found.mappings():
            yield with_settings(dict(row))


def fetch_rows(database: Database, query: Select[tuple[object, ...]]) -> Sequence[SqlRow[Any]]:
    """The rows of a query, as named tuples."""
    with database.read() as connection:
        return connection.execute(query).all()
