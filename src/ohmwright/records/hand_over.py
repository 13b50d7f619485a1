"""A run that is not finished goes on in one store alone: handed over to another, or taken back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import Connection

from ohmwright.model.errors import UsageError

from .chain import StoredRun
from .lease import LeaseHolder, release_lease
from .ledger import EntryKind, add_entry, is_handed_over
from .run_claim import claim_run
from .run_reader import find_run
from .sql_store import SqlStore
from .witness_file import ChainPosition


@contextmanager
def handed_over(store: SqlStore, run_id: str) -> Iterator[StoredRun]:
    """Yield a run to be written for another store; from the block's end on it goes on there alone.

    The block writes it to where it is handed over; an error in it leaves the run here. Raises
    UsageError for a run that is finished, handed over already, or being written.
    """
    with store.database.write() as connection:
        holder = LeaseHolder.this_program()
        end = claim_run(connection, run_id, holder)
        if end is None:
            raise store.unknown_run_error(run_id)
        store.events(run_id)  # raises RecordError for a damaged one
        run = store.stored_run(run_id)
        yield run
        release_lease(connection, end.run["number"])
        seen = _add(store, connection, "handed over", end.run["number"], run)
    store.witness.note_committed_entry(seen)


def take_back(store: SqlStore, run_id: str) -> None:
    """Let a run that was handed over go on here. Raises UsageError where it was not."""
    run = store.stored_run(run_id)
    with store.database.write() as connection:
        row = find_run(connection, run_id)
        if row is None or not is_handed_over(connection, row["number"]):
            raise UsageError(
                f"Run {run_id} was not handed over.", do="Go on with it, or see 'record show'."
            )
        seen = _add(store, connection, "taken back", row["number"], run)
    store.witness.note_committed_entry(seen)


def _add(
    store: SqlStore, connection: Connection, what: EntryKind, number: int, run: StoredRun
) -> ChainPosition:
    """Add the entry about a run with its head; returns its place in the ledger."""
    store.refuse_loss(connection)
    content = {"run": run.run_id, "head": run.head.hex()}
    entry = add_entry(connection, what, number, content)
    seen = ChainPosition(entry.number, entry.hash)
    store.witness.note_intended_entry(seen)
    return seen
