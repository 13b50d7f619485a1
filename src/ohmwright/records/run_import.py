"""Imports runs into a store: new ones, and the events that continue one on record."""

from __future__ import annotations

from typing import Any, Literal

from sqlalchemy import Connection, insert

from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event, PointDone, RunFinished
from ohmwright.model.typed_command import typed_command

from .add_addendum import add_addendum_entry
from .chain import BrokenRunError, RunHashes, StoredRun, verified_events
from .flat_rows import Row, result_row, run_row
from .lease import LeaseHolder, release_lease, take_lease
from .ledger import LedgerEntry, add_entry, next_run_number
from .run_reader import find_run, read_run
from .sql_store import SqlStore
from .tables import EVENTS, RESULTS, RUNS
from .witness_file import ChainPosition

ImportOutcome = Literal["new", "longer", "there already"]
"""What an import adds: a new run, more events or addenda of a run on record, or nothing."""


def import_outcome(ours: RunHashes | None, theirs: RunHashes, run_id: str) -> ImportOutcome:
    """What importing `theirs` would add to `ours`, which is None where the store has no such run.

    Raises UsageError, naming the first event that differs, where one does not continue the other.
    """
    if ours is None:
        return "new"
    if ours.opening != theirs.opening:
        raise _fork_error(run_id, "they were opened in two ways, so these are two runs of one name")
    for number, (our, their) in enumerate(zip(ours.hashes, theirs.hashes, strict=False), start=1):
        if our != their:
            counts = f"{len(ours.hashes)} here and {len(theirs.hashes)} in the file"
            raise _fork_error(run_id, f"event {number} is another one, of {counts}")
    for number, (one, other) in enumerate(zip(ours.addenda, theirs.addenda, strict=False), 1):
        if one != other:
            raise _fork_error(run_id, f"addendum {number} (approval, amendment, void) is another")
    if len(theirs.hashes) <= len(ours.hashes):
        return "longer" if len(theirs.addenda) > len(ours.addenda) else "there already"
    if ours.sealed or ours.voided:
        how = "finished" if ours.sealed else "void"
        raise _fork_error(run_id, f"ours is {how}; theirs has an event {len(ours.hashes) + 1}")
    return "longer"


def import_run(store: SqlStore, run: StoredRun, events: tuple[Event, ...]) -> ImportOutcome:
    """Store what a checked run adds, and say what that was; nothing on record is replaced.

    `events` are the verified events of `run`. Its end is for the caller to remember, who may see
    that it contradicts itself. Raises UsageError for a run that differs from the one on record, or
    that another program is writing to.
    """
    with store.database.write() as connection:
        store.refuse_loss(connection)
        row = find_run(connection, run.run_id)
        ours = None if row is None else _local_run(store, connection, row)
        came = import_outcome(
            None if ours is None else ours.hashes_of_events, run.hashes_of_events, run.run_id
        )
        if came == "there already":
            return came
        _refuse_other_end(store, run)
        after, added = (0, 0) if ours is None else (len(ours.events), len(ours.addenda))
        if row is None:
            row = run_row(events) | {"number": next_run_number(connection), "run_id": run.run_id}
        else:
            take_lease(connection, row["number"], run.run_id, LeaseHolder.this_program())
            release_lease(connection, row["number"])
        entry = None
        if len(run.events) > after:
            entry = _add_import_entry(connection, row["number"], run, events[-1])
        if after == 0:
            connection.execute(insert(RUNS), [row | {"opening": run.opening}])
        _insert_new_events(connection, row, run, events, after)
        for addendum in run.addenda[added:]:  # last: they may take the results out of summaries
            entry = add_addendum_entry(connection, row["number"], addendum)
        assert entry is not None
        seen = ChainPosition(entry.number, entry.hash)
        store.witness.note_intended_entry(seen)
    store.witness.note_committed_entry(seen)
    if run.seal is not None:
        store.witness.forget_run(row["number"])
    return came


def end_of(run: StoredRun) -> ChainPosition:
    """The last event of a finished run, as this computer may remember it from now on."""
    return ChainPosition(len(run.events), run.head, run.run_id)


def _refuse_other_end(store: SqlStore, run: StoredRun) -> None:
    """Raise UsageError for a finished run that this computer has seen end otherwise."""
    seen = None if run.seal is None else store.witness.ends.first().get(run.run_id)
    if seen is not None and seen != end_of(run):
        raise UsageError(
            f"Run {run.run_id} ends otherwise in the file than this computer has seen it end.",
            f"One of the two was changed afterwards. By {store.witness.ends.path}, the hash of its "
            f"last event was {seen.hash.hex()}; in the file it is {run.head.hex()}. Nothing of "
            "that run was imported.",
            "Hold both against a certificate of it: "
            f"'{typed_command('record verify --head HASH')}'. Where that shows that the one seen "
            "first is the changed one, take the line of this run out of that file, and import into "
            "a store that has not the changed one.",
        )


def _local_run(store: SqlStore, connection: Connection, row: Row) -> StoredRun:
    """The run on record, verified: nothing is added to a damaged one. Raises RecordError."""
    try:
        ours = read_run(connection, row)
        verified_events(ours)
    except BrokenRunError as broken:
        raise store.damaged_run_error(row["run_id"], broken) from None
    return ours


def _add_import_entry(
    connection: Connection, number: int, run: StoredRun, last: Event
) -> LedgerEntry:
    """Append the ledger entry of an import: the run's head, and its seal and verdict if any."""
    content: dict[str, Any] = {"head": run.head.hex(), "run": run.run_id}
    if run.seal is not None:
        content["seal"] = run.seal.model_dump(mode="json")
    verdict = last.verdict if isinstance(last, RunFinished) else None
    return add_entry(connection, "imported", number, content, verdict)


def _insert_new_events(
    connection: Connection, row: Row, run: StoredRun, events: tuple[Event, ...], after: int
) -> None:
    """Insert the events that come after number `after`, and the results among them."""
    number = row["number"]
    if len(run.events) <= after:
        return
    kept = [
        {"run": number, "number": one.number, "body": one.body, "hash": one.hash}
        for one in run.events[after:]
    ]
    connection.execute(insert(EVENTS), kept)
    flat = [
        result_row(row, at, event)
        for at, event in enumerate(events[after:], start=after + 1)
        if isinstance(event, PointDone)
    ]
    if flat:
        connection.execute(insert(RESULTS), flat)


def _fork_error(run_id: str, how: str) -> UsageError:
    """The error for a run whose copies differ."""
    return UsageError(
        f"Run {run_id} is on record here and does not go on as the one in the file: {how}.",
        "Nothing is ever written over; nothing of that run was imported.",
        f"See ours with '{typed_command(f'record show {run_id}')}', and the other once the file "
        "is imported into another store; decide which counts, and repeat what it lacks in a new "
        "run.",
    )
