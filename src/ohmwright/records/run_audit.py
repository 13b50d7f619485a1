"""Audit of one run: its chain and seal, its flat rows, and what the ledger says of it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any, get_args

from sqlalchemy import Connection, select

from ohmwright.model.errors import RecordError
from ohmwright.model.event import Event, PointDone, RunFinished

from .addendum import AddendumKind
from .audit_finding import AuditFinding
from .chain import BrokenRunError, StoredRun, verified_events
from .flat_rows import Row, result_row, run_row
from .ledger import addendum_of_entry, entry_document, seal_of_entry
from .run_reader import read_run
from .sql_store import SqlStore
from .tables import LEDGER, RESULTS
from .time_order import (
    begun_otherwise_than_numbered,
    clock_set_forward,
    dated_ahead,
    events_dated_backwards,
    signed_before_it_ended,
)

EventsCheck = Callable[[str, Sequence[Event]], Iterable[AuditFinding]]
"""Given the name of a whole run and its events, yields what it finds wrong with them."""
_DATES: tuple[EventsCheck, ...] = (
    events_dated_backwards,
    clock_set_forward,
    begun_otherwise_than_numbered,
    dated_ahead,
)


def audit_run(
    store: SqlStore, row: Row, more: Sequence[EventsCheck] = ()
) -> Iterator[AuditFinding]:
    """The first thing that is wrong with one run; of a whole run, what `more` and its times say."""
    name = str(row["run_id"])
    try:
        with store.database.read() as connection:
            kept = read_run(connection, row)
            events = verified_events(kept)
            _check_flat_rows(connection, row, events)
            _check_ledger(connection, row, kept, events)
        yield from signed_before_it_ended(name, events, _signed_at(kept))
        for check in (*_DATES, *more):
            yield from check(name, events)
    except BrokenRunError as broken:
        yield AuditFinding(broken.what, name, broken.event)
    except RecordError as error:
        yield AuditFinding(error.happened, name)
    except (TypeError, ValueError) as problem:
        yield AuditFinding(f"its rows are damaged: {problem}", name)


def _signed_at(kept: StoredRun) -> tuple[datetime, ...]:
    """When the seal and each addendum of a run were signed, as they say."""
    seals = () if kept.seal is None else (kept.seal.statement.signed_at,)
    return (*seals, *(one.statement.signed_at for one in kept.addenda))


def _check_flat_rows(connection: Connection, row: Row, events: tuple[Event, ...]) -> None:
    """Raise BrokenRunError unless the flat rows of a run are those that its events make."""
    own = {"number": row["number"], "run_id": row["run_id"], "opening": row["opening"]}
    if not events or row != run_row(events) | own:
        raise BrokenRunError("its line in the table of runs is not what its start says", 1)
    expected = {
        number: result_row(row, number, event)
        for number, event in enumerate(events, start=1)
        if isinstance(event, PointDone)
    }
    rows = connection.execute(select(RESULTS).where(RESULTS.c.run == row["number"])).mappings()
    found = {one["event"]: dict(one) for one in rows}
    for number in sorted({*expected, *found}):
        if expected.get(number) != found.get(number):
            raise BrokenRunError(
                "its line in the table of results is not what the event says", number
            )


def _check_ledger(
    connection: Connection, row: Row, kept: StoredRun, events: tuple[Event, ...]
) -> None:
    """Raise BrokenRunError unless the ledger has the opening, seal and verdict of the run.

    Lists believe the columns `what` and `verdict` of an entry, which nobody signs: each must be
    that of a signature in its document.
    """
    query = select(LEDGER).where(LEDGER.c.run == row["number"]).order_by(LEDGER.c.number)
    entries = connection.execute(query).all()
    if not entries:
        raise BrokenRunError("the ledger does not know it")
    first = entries[0]
    if first.what == "opened" and first.document != row["opening"]:
        raise BrokenRunError("its opening is not that of the ledger")
    last = events[-1]
    verdict = last.verdict if isinstance(last, RunFinished) else None
    sealed = [entry for entry in entries if seal_of_entry(entry.document) is not None]
    telling = [entry for entry in entries if entry in sealed or entry.verdict is not None]
    if [entry.verdict for entry in telling] != ([] if verdict is None else [verdict]):
        raise BrokenRunError("its verdict in the ledger is not that of its last event", len(events))
    if kept.seal is None and any(entry.verdict is not None for entry in entries):
        raise BrokenRunError("the ledger has a verdict and no seal")
    for entry in entries:
        kind = _kind_of_addendum(entry.document)
        if kind is None and entry.what in get_args(AddendumKind):
            raise BrokenRunError(f"the ledger says that it was {entry.what}, which nobody signed")
        if kind not in (None, entry.what):
            raise BrokenRunError("an addendum in the ledger is of another kind than its entry")
    for what in ("imported", "handed over"):
        heads = {entry_document(e.document).get("head") for e in entries if e.what == what}
        if not heads <= _heads(kept):
            raise BrokenRunError(f"it is not what was {what}")


def _kind_of_addendum(document: bytes) -> str | None:
    """What the addendum in an entry says that was done; None where there is no addendum."""
    addendum = addendum_of_entry(document)
    return None if addendum is None else addendum.statement.what


def _heads(kept: StoredRun) -> set[Any]:
    """The hashes of a run's events, in hexadecimal."""
    return {one.hash.hex() for one in kept.events}
