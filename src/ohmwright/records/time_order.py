"""Warnings about times on record that contradict each other; a clock may merely have been set."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, datetime
from itertools import pairwise

from sqlalchemy import Connection, select

from ohmwright.engine.run_so_far import run_started_event
from ohmwright.model.event import Event, RunResumed, RunStarted
from ohmwright.wire.clock import RealClock

from .audit_finding import AuditFinding
from .run_number import time_in_number
from .tables import LEDGER, RUNS

CLOCK_DIFFERENCE_S = 60.0
"""Difference in s that is no finding: clocks of benches that share a store differ."""
_NUMBER_TO_START_S = 24 * 3600.0
"""A number is given right before first contact, with whatever a person looks at in between."""
CLOCK_STEP_S = 1.0
"""Step in s that is no finding: a clock set over the network may be stepped by less."""


def runs_dated_backwards(connection: Connection) -> Iterator[AuditFinding]:
    """A warning for each run that is dated before the run that was opened before it here.

    Imported runs come in any order, and a simulated clock tells none, so both are left out.
    """
    query = (
        select(RUNS.c.run_id, RUNS.c.at)
        .join(LEDGER, LEDGER.c.run == RUNS.c.number)
        .where(LEDGER.c.what == "opened", RUNS.c.simulated == 0)
        .order_by(LEDGER.c.number)
    )
    for before, after in pairwise(connection.execute(query).all()):
        back_s = (_parsed_time(before.at) - _parsed_time(after.at)).total_seconds()
        if back_s > CLOCK_DIFFERENCE_S:
            yield AuditFinding(
                f"it is dated {_minute_text(after.at)}, and was opened after run {before.run_id} "
                f"of {_minute_text(before.at)}: a clock was set, or the date is not true",
                after.run_id,
                1,
                "warning",
            )


def events_dated_backwards(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """A warning for each event of a run that is dated before the event before it."""
    simulated = any(isinstance(e, RunStarted) and e.seed is not None for e in events)
    for number, back_s in _backward_steps(events, simulated=simulated):
        what = f"its time is {back_s:.1f} s before that of the event before it: a clock was set"
        yield AuditFinding(f"{what}, or the time is not true", run_id, number, "warning")


def clock_set_forward(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """A warning for each event whose date is later than the bench's own seconds say.

    Those go on as they did, whatever the date is set to. A simulated clock is set by nobody.
    """
    if any(isinstance(event, RunStarted) and event.seed is not None for event in events):
        return
    for number, (before, after) in enumerate(pairwise(events), start=2):
        if isinstance(after, RunResumed):
            continue
        passed_s = after.bench_s - before.bench_s
        ahead_s = _dated_after_s(before, after) - passed_s
        if passed_s >= 0 and ahead_s > CLOCK_DIFFERENCE_S:
            what = f"its time is {ahead_s:.0f} s later than the bench's own seconds say"
            said = f"{what}: a clock was set, or the computer slept, or the time is not true"
            yield AuditFinding(said, run_id, number, "warning")


def begun_otherwise_than_numbered(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """A finding for a run whose start is dated otherwise than its number, which was given before.

    Nobody waits a day between them. A simulated clock tells neither.
    """
    numbered = time_in_number(run_id)
    for event_number, event in enumerate(events, start=1):
        if not isinstance(event, RunStarted) or event.seed is not None or numbered is None:
            continue
        begun = _with_time_zone(event.at)
        if abs((begun - numbered).total_seconds()) > _NUMBER_TO_START_S:
            what = f"it begins on {begun:%Y-%m-%d}, and its number is of {numbered:%Y-%m-%d}"
            said = f"{what}: a clock was set, or a date is not true"
            yield AuditFinding(said, run_id, event_number, "unknown")


def dated_ahead(run_id: str, events: Sequence[Event]) -> Iterator[AuditFinding]:
    """A warning for a run whose end is still to come by this computer's clock."""
    started = run_started_event(events)
    if not events or (started is not None and started.seed is not None):
        return
    ended = _with_time_zone(events[-1].at)
    if (ended - RealClock().wall()).total_seconds() > CLOCK_DIFFERENCE_S:
        what = f"it is dated {ended:%Y-%m-%d %H:%M} UTC, which is still to come"
        said = f"{what}: a clock is wrong, or the date is not true"
        yield AuditFinding(said, run_id, len(events), "warning")


def signed_before_it_ended(
    run_id: str, events: Sequence[Event], signed_at: Sequence[datetime]
) -> Iterator[AuditFinding]:
    """A finding for a signature that is dated before the last event that it signs.

    A seal is made right after the last event, so no innocent clock dates it so. Simulated runs have
    a time of day of their own and are left out.
    """
    if not events or any(isinstance(e, RunStarted) and e.seed is not None for e in events):
        return
    ended = _with_time_zone(events[-1].at)
    for at in signed_at:
        early_s = (ended - _with_time_zone(at)).total_seconds()
        if early_s > CLOCK_DIFFERENCE_S:
            what = f"a signature is dated {early_s:.0f} s before its last event, which it signs"
            yield AuditFinding(
                f"{what}: a clock was set, or a time is not true", run_id, len(events), "unknown"
            )


def _backward_steps(events: Iterable[Event], *, simulated: bool) -> Iterator[tuple[int, float]]:
    """Yield the number of each event that goes back in time, and by how many seconds.

    The bench's own seconds begin anew when a run is resumed, and so does a simulated time of day.
    """
    for number, (before, after) in enumerate(pairwise(events), start=2):
        sits_down = isinstance(after, RunResumed)
        back_s = -_dated_after_s(before, after)
        if back_s > CLOCK_STEP_S and not (simulated and sits_down):
            yield number, back_s
        elif before.bench_s - after.bench_s > CLOCK_STEP_S and not sits_down:
            yield number, before.bench_s - after.bench_s


def _dated_after_s(before: Event, after: Event) -> float:
    return (_with_time_zone(after.at) - _with_time_zone(before.at)).total_seconds()


def _with_time_zone(at: datetime) -> datetime:
    """The time, in UTC where it names no zone."""
    return at.replace(tzinfo=UTC) if at.tzinfo is None else at


def _parsed_time(stamp: str) -> datetime:
    """The time in an ISO 8601 text, in UTC where it names no zone."""
    return _with_time_zone(datetime.fromisoformat(stamp))


def _minute_text(stamp: str) -> str:
    """A time in an ISO 8601 text, to the minute."""
    return f"{_parsed_time(stamp):%Y-%m-%d %H:%M} UTC"
