"""The newest run of each unit that decided it: that it passed, or that it failed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import Connection, Select, select

from ohmwright.model.event import EVENTS as event_adapter  # noqa: N811 - a table is named so
from ohmwright.model.event import RunFinished, RunStarted

from .database import Database
from .run_number import begun_at
from .tables import EVENTS, LEDGER, NEWEST_RUNS, RUNS, VOIDED_RUNS

DECISIVE = ("pass", "fail")
"""A run that was cut short, undecided, void or a sweep says nothing of when a unit is due."""
_IN_ONE_QUERY = 500
_UP_TO_START = 20
"""In older records what a person was asked at first contact stands before a run's start."""


@dataclass(frozen=True)
class DecisiveRun:
    """A finished run with one of the verdicts in `DECISIVE`."""

    asset: str
    number: int
    run_id: str
    at: str
    verdict: str


@dataclass(frozen=True)
class WorkDone(DecisiveRun):
    """A decisive run with who did it."""

    operator: str

    @property
    def begun(self) -> str:
        """When it was begun, as text that sorts by time."""
        return begun_at(self.run_id, self.at)


def decisive_runs(database: Database, *, simulated: bool) -> dict[str, DecisiveRun]:
    """The newest decisive run of each unit, by its tag; on simulated benches, or on real ones."""
    c = NEWEST_RUNS.c
    columns = (c.asset, c.run, c.run_id, c.at, c.verdict)
    query = select(*columns).where(c.simulated == int(simulated))
    found: dict[str, DecisiveRun] = {}
    others: list[str] = []
    with database.read() as connection:
        for asset, number, run_id, at, verdict in connection.execute(query).all():
            if verdict in DECISIVE:
                found[asset] = DecisiveRun(asset, number, run_id, at, verdict)
            else:
                others.append(asset)
        for run in _older_runs(connection, others, simulated=simulated):
            found[run.asset] = run
    return found


def work_done_after(database: Database, number: int, *, simulated: bool) -> list[WorkDone]:
    """Every decisive run that came on record after run number `number`, oldest first."""
    with database.read() as connection:
        query = _decisive(simulated=simulated).where(RUNS.c.number > number)
        rows = connection.execute(query.add_columns(RUNS.c.operator))
        return sorted((WorkDone(*row) for row in rows), key=lambda one: (one.begun, one.number))


def span_of_runs(database: Database, run_ids: Sequence[str]) -> tuple[datetime, datetime] | None:
    """When the first and the last of these runs began; None for no runs.

    A simulated run has the date of its own clock.
    """
    with database.read() as connection:
        times = [
            at
            for first in range(0, len(run_ids), _IN_ONE_QUERY)
            for at in connection.execute(
                select(RUNS.c.at).where(RUNS.c.run_id.in_(run_ids[first : first + _IN_ONE_QUERY]))
            ).scalars()
        ]
    if not times:
        return None
    return datetime.fromisoformat(min(times)), datetime.fromisoformat(max(times))


def _older_runs(
    connection: Connection, assets: Sequence[str], *, simulated: bool
) -> Iterator[DecisiveRun]:
    """The decisive runs of units whose newest run is none, oldest first."""
    query = _decisive(simulated=simulated)
    for first in range(0, len(assets), _IN_ONE_QUERY):
        part = assets[first : first + _IN_ONE_QUERY]
        for row in connection.execute(query.where(RUNS.c.asset.in_(part))):
            yield DecisiveRun(*row)


def _decisive(*, simulated: bool) -> Select[Any]:
    c = RUNS.c
    return (
        select(c.asset, c.number, c.run_id, c.at, LEDGER.c.verdict)
        .join(LEDGER, LEDGER.c.run == c.number)
        .where(c.simulated == int(simulated), LEDGER.c.verdict.in_(DECISIVE))
        .where(c.number.not_in(select(VOIDED_RUNS.c.run)))
        .order_by(c.at, c.number)
    )


def start_of(database: Database, number: int) -> RunStarted | None:
    """The start of run number `number`, None where it has none; nothing of its chain is checked."""
    c = EVENTS.c
    query = select(c.body).where(c.run == number).order_by(c.number).limit(_UP_TO_START)
    with database.read() as connection:
        for body in connection.execute(query).scalars():
            event = event_adapter.validate_json(body)
            if isinstance(event, RunStarted):
                return event
    return None


def minutes_of(database: Database, run_id: str) -> float | None:
    """Minutes at the bench that a finished run took; None for another. No chain is checked."""
    c = EVENTS.c
    query = (
        select(c.body)
        .join(RUNS, RUNS.c.number == c.run)
        .where(RUNS.c.run_id == run_id)
        .order_by(c.number.desc())
        .limit(1)
    )
    with database.read() as connection:
        last = event_adapter.validate_json(connection.execute(query).scalar_one())
    return last.bench_time_s / 60 if isinstance(last, RunFinished) else None


def is_begun(database: Database, run_id: str) -> bool:
    """Whether this run is on record and its unit is known; one that was refused has none."""
    query = select(RUNS.c.asset).where(RUNS.c.run_id == run_id)
    with database.read() as connection:
        return bool(connection.execute(query).scalar())


def verdicts_of(database: Database, run_ids: Sequence[str]) -> dict[str, str | None]:
    """The verdict of each of these runs that is on record; None for one without, or void."""
    found: dict[str, str | None] = {}
    c = RUNS.c
    query = (
        select(c.run_id, LEDGER.c.verdict)
        .join(LEDGER, LEDGER.c.run == c.number)
        .where(c.number.not_in(select(VOIDED_RUNS.c.run)))
    )
    with database.read() as connection:
        for first in range(0, len(run_ids), _IN_ONE_QUERY):
            part = run_ids[first : first + _IN_ONE_QUERY]
            for run_id, verdict in connection.execute(query.where(c.run_id.in_(part))):
                found[run_id] = found.get(run_id) or verdict
    return found
