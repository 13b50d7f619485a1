"""The store: runs as chains of events in a database."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, insert, select

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import Event, RunFinished
from ohmwright.wire.clock import RealClock

from .bulk_insert import BulkInsert
from .canonical_json import chain_hash, event_bytes, sha256_digest
from .chain import BrokenRunError, StoredRun, verified_events
from .database import Database, open_database
from .flat_rows import Row, result_row, run_row
from .keys import Notify, OperatorKey, no_notice
from .lease import RENEW_AFTER_S, LeaseHolder, release_lease, take_lease
from .ledger import LedgerEntry, add_entry, is_finished, lock_ledger, next_run_number
from .migrate import migrate_to_newest
from .run_reader import find_run, read_run, store_id
from .store import Store
from .tables import EVENTS, RESULTS, RUNS
from .witness import ChainPosition, Witness, losses

KEY_MEMORY_FILE = "keys"
"""In the witness folder: the file that remembers the keys of this computer."""


@dataclass(frozen=True)
class _Tail:
    """Where the chain of a run ends, as far as this program has written or read it."""

    run: Row
    events: int
    head: bytes
    operator: str
    renew_at_s: float

    @property
    def newest(self) -> ChainPosition:
        """Its last event, as the witness knows it."""
        return ChainPosition(self.events, self.head, self.run["run_id"])


class SqlStore(Store):
    """Keeps runs in SQLite or PostgreSQL, each event in a transaction of its own.

    One program writes to a run at a time, held by a lease. The event RunFinished seals the
    run: from then on nothing can be added.
    """

    def __init__(
        self, database: Database, key: OperatorKey, witness_folder: Path, tell: Notify = no_notice
    ) -> None:
        migrate_to_newest(database, tell)
        self.database, self.key = database, key
        self.store_id = store_id(database)
        self.witness = Witness(witness_folder / self.store_id)
        self._events = BulkInsert(EVENTS, database.engine.dialect)
        self._results = BulkInsert(RESULTS, database.engine.dialect)
        self._holder = LeaseHolder.this_program()
        self._tails: dict[str, _Tail] = {}
        self._compared = False

    def append(self, run_id: str, event: Event) -> None:
        """Keep one event; it is on disk when this returns."""
        self.append_all(run_id, (event,))

    def append_all(self, run_id: str, events: Sequence[Event]) -> None:
        """Keep several events in one transaction: all or none."""
        tail = self._tails.pop(run_id, None)  # back only once all is on disk
        with self.database.write() as connection:
            if len(events) > 1:
                lock_ledger(
                    connection
                )  # several results lock several tallies, each in its own order
            entry = None
            if tail is None:
                tail = self._claimed(connection, run_id)
                if tail is None:
                    tail, entry = self._opened(connection, run_id, events[0])
            elif RealClock().now_s() > tail.renew_at_s:
                tail = self._renewed(connection, tail)
            before, tail = tail, self._written(connection, tail, events)
            last = events[-1]
            if isinstance(last, RunFinished):
                entry = self._sealed(connection, tail, last)
            self._intend(before, tail, entry)
        self._remember(tail, entry, last)

    def claim(self, run_id: str) -> None:
        """Take a run that was begun, to go on with it.

        Raises UsageError naming who has it, or when there is no such run.
        """
        with self.database.write() as connection:
            tail = self._claimed(connection, run_id)
        if tail is None:
            raise self.unknown_run_error(run_id)
        self._tails[run_id] = tail

    def events(self, run_id: str) -> tuple[Event, ...]:
        """Every event of a run, its chain and its seal checked."""
        try:
            return verified_events(self.stored_run(run_id))
        except BrokenRunError as broken:
            raise self.damaged_run_error(run_id, broken) from None

    def damaged_run_error(self, run_id: str, broken: BrokenRunError) -> RecordError:
        """The error for a run that is not whole."""
        at = "" if broken.event is None else f", event {broken.event}"
        return RecordError(
            f"{self.place(run_id)}: run {run_id}{at}: {broken.what}.",
            "The record was changed or damaged after it was written.",
            "Restore the store from a copy; do not use this run as evidence.",
        )

    def stored_run(self, run_id: str) -> StoredRun:
        """A run as it is kept, unchecked. Raises UsageError when there is none, Broken."""
        with self.database.read() as connection:
            run = find_run(connection, run_id)
            if run is None:
                raise self.unknown_run_error(run_id)
            return read_run(connection, run)

    def run_ids(self) -> tuple[str, ...]:
        """Every run, in the order in which they came: a simulated clock tells no order."""
        with self.database.read() as connection:
            query = select(RUNS.c.run_id).order_by(RUNS.c.number)
            return tuple(connection.execute(query).scalars())

    def head(self, run_id: str) -> str:
        """The hash of the last event of a run, in hexadecimal; a certificate prints it."""
        return self.stored_run(run_id).head.hex()

    def place(self, run_id: str) -> str:  # noqa: ARG002 - one place for all
        """The file, or the URL without its password."""
        return self.database.place

    def close(self) -> None:
        """Let go of every run and of the database."""
        with suppress(RecordError):  # a lease that cannot be given back runs out
            if self._tails:
                with self.database.write() as connection:
                    for tail in self._tails.values():
                        release_lease(connection, tail.run["number"])
        self._tails.clear()
        self.witness.close()
        self.database.close()

    def __enter__(self) -> SqlStore:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _claimed(self, connection: Connection, run_id: str) -> _Tail | None:
        """The end of a run that there is, its lease taken."""
        self._compare_with_witness(connection)
        run = find_run(connection, run_id)
        if run is None:
            return None
        if is_finished(connection, run["number"]):
            raise UsageError(
                f"Run {run_id} cannot be resumed: it is finished and sealed.",
                do="Start a new run.",
            )
        take_lease(connection, run["number"], run_id, self._holder)
        last = select(EVENTS.c.number, EVENTS.c.hash).where(EVENTS.c.run == run["number"])
        end = connection.execute(last.order_by(EVENTS.c.number.desc()).limit(1)).first()
        return self._tail(run, *((0, sha256_digest(run["opening"])) if end is None else end))

    def _renewed(self, connection: Connection, tail: _Tail) -> _Tail:
        """The same end of a run, held for longer. Raises RecordError when it is not the same."""
        found = self._claimed(connection, tail.run["run_id"])
        if found is None or found.head != tail.head:
            raise RecordError(
                f"{self.database.place}: another program has written to the same run.",
                "It was taken over while nothing was written here for a long time.",
                "See what is on record with 'ohmwright record show', then resume the run.",
            )
        return replace(found, operator=tail.operator)

    def _opened(
        self, connection: Connection, run_id: str, first: Event
    ) -> tuple[_Tail, LedgerEntry]:
        """A new run, held by us, and its opening."""
        run = run_row(first) | {"number": next_run_number(connection), "run_id": run_id}
        entry = add_entry(
            connection, "opened", run["number"], {"run": run_id, "store": self.store_id}
        )
        connection.execute(insert(RUNS), [run | {"opening": entry.document}])
        take_lease(connection, run["number"], run_id, self._holder)
        return self._tail(run, 0, entry.hash), entry

    def _tail(self, run: Row, events: int, head: bytes) -> _Tail:
        renew_at_s = RealClock().now_s() + RENEW_AFTER_S
        return _Tail(run, events, head, run["operator"], renew_at_s)

    def _written(self, connection: Connection, tail: _Tail, events: Sequence[Event]) -> _Tail:
        """Insert the events with their hashes, and the results among them flat."""
        rows, flat = [], []
        run, number, head, operator = tail.run["number"], tail.events, tail.head, tail.operator
        for event in events:
            number, body = number + 1, event_bytes(event)
            head = chain_hash(head, body)
            rows.append((run, number, body, head))
            if event.kind == "point_done":  # asking its class would cost as much as hashing it
                row = result_row(tail.run, number, event)
                flat.append([row[name] for name in self._results.columns])
            elif event.kind == "run_started" or event.kind == "run_resumed":
                operator = event.operator
        self._events.add(connection, rows)
        self._results.add(connection, flat)
        return _Tail(tail.run, number, head, operator, tail.renew_at_s)

    def _sealed(self, connection: Connection, tail: _Tail, last: RunFinished) -> LedgerEntry:
        number, run_id = tail.run["number"], tail.run["run_id"]
        seal = self.key.seal(run_id, tail.events, tail.head, tail.operator, last.at)
        release_lease(connection, number)
        content = {"run": run_id, "seal": seal.model_dump(mode="json")}
        return add_entry(connection, "sealed", number, content, last.verdict)

    def _intend(self, before: _Tail, after: _Tail, entry: LedgerEntry | None) -> None:
        """Before the commit; an entry of the ledger stands for the events committed with it."""
        if entry is None:
            self.witness.note_intended_event(before.run["number"], before.newest, after.newest)
        else:
            self.witness.note_intended_entry(ChainPosition(entry.number, entry.hash))

    def _remember(self, tail: _Tail, entry: LedgerEntry | None, last: Event) -> None:
        """After the commit."""
        number = tail.run["number"]
        if entry is not None:
            self.witness.note_committed_entry(ChainPosition(entry.number, entry.hash))
        if isinstance(last, RunFinished):
            self.witness.drop_run(number)
        else:
            self._tails[tail.run["run_id"]] = tail
            self.witness.note_committed_event(number, tail.newest)

    def _compare_with_witness(self, connection: Connection) -> None:
        """Once: never write on top of a store that has lost something."""
        if not self._compared:
            self.refuse_loss(connection)
        self._compared = True

    def refuse_loss(self, connection: Connection) -> None:
        """Raise RecordError where the store lacks what this computer has seen of it."""
        for lost in losses(connection, self.witness):
            if lost.kind == "wrong":
                raise RecordError(
                    f"{self.database.place}: {lost}.",
                    "An older copy was put in place of the record, or part of it was removed.",
                    "Restore the newest copy. If it is truly gone, move "
                    f"{self.witness.folder} away.",
                )

    def unknown_run_error(self, run_id: str) -> UsageError:
        """The error for a run that there is not."""
        return UsageError(
            f"There is no run '{run_id}' in {self.database.place}.",
            do="See the runs with 'ohmwright record list'.",
        )


def open_store(
    where: str, key_file: Path, witness_folder: Path, tell: Notify = no_notice, **options: Any
) -> SqlStore:
    """The store at `where`, made when there is none.

    `where`: see `open_database`. `key_file`: the operator's key, made at the first signing.
    `witness_folder`: where this computer remembers what it has seen, one folder a store, and
    the keys that it had. `tell` gets what a person should see.
    """
    database = open_database(where, **options)
    try:
        key = OperatorKey(key_file, witness_folder / KEY_MEMORY_FILE, tell)
        return SqlStore(database, key, witness_folder, tell)
    except BaseException:
        database.close()
        raise
