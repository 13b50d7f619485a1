"""The store of runs in SQLite or PostgreSQL."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from shlex import quote
from typing import Any

from sqlalchemy import Connection, func, insert, select

from ohmwright.model.errors import RecordError, UsageError
from ohmwright.model.event import Event, RunFinished
from ohmwright.model.typed_command import typed_command
from ohmwright.wire.clock import RealClock

from .bulk_insert import BulkInsert
from .canonical_json import chain_hash, event_bytes
from .chain import BrokenRunError, StoredRun, verified_events
from .database import Database
from .flat_rows import result_row, run_row
from .keys import OperatorKey
from .lease import LeaseHolder, release_lease, take_lease
from .ledger import (
    ZERO_HASH,
    LedgerEntry,
    add_entry,
    last_entry,
    lock_ledger,
    next_run_number,
)
from .migrate import migrate_to_newest
from .notices import Notify, no_notice
from .open_database import open_database
from .run_claim import ChainEnd, chain_end, claim_run, renew_claim
from .run_reader import find_run, read_run, store_id
from .store import Store
from .tables import EVENTS, RESULTS, RUNS, VOIDED_RUNS
from .witness import Witness, losses, remember_ledger
from .witness_file import ChainPosition

KEY_MEMORY_FILE = "keys"
"""Name of the file in the witness folder that lists the keys of this computer."""


class SqlStore(Store):
    """Stores runs in SQLite or PostgreSQL, each event in a transaction of its own.

    One program at a time writes to a run, which it holds by a lease. The event RunFinished seals
    the run: from then on nothing can be added to it.
    """

    def __init__(
        self, database: Database, key: OperatorKey, witness_folder: Path, notify: Notify = no_notice
    ) -> None:
        migrate_to_newest(database, notify)
        self.database, self.key = database, key
        self.store_id = store_id(database)
        self.witness = Witness(witness_folder / self.store_id)
        self._events = BulkInsert(EVENTS, database.engine.dialect)
        self._results = BulkInsert(RESULTS, database.engine.dialect)
        self._holder = LeaseHolder.this_program()
        self._ends: dict[str, ChainEnd] = {}
        self._compared = False

    def append(self, run_id: str, event: Event) -> None:
        """Store one event; it is on disk when this returns."""
        self.append_all(run_id, (event,))

    def append_all(self, run_id: str, events: Sequence[Event]) -> None:
        """Store several events in one transaction: all or none."""
        end = self._ends.pop(run_id, None)  # back only once all is on disk
        with self.database.write() as connection:
            if len(events) > 1:
                # several results lock several tallies, each in its own order
                lock_ledger(connection)
            entry = None
            if end is None:
                end = self._claim_run(connection, run_id)
                if end is None:
                    end, entry = self._open_run(connection, run_id, events)
            elif RealClock().now_s() > end.renew_at_s:
                self._compare_with_witness(connection)
                end = renew_claim(connection, end, self._holder, self.database.place)
            newest, end = end.newest, self._insert_events(connection, end, events)
            last = events[-1]
            if last.kind == "run_finished":
                entry = self._seal_run(connection, end, last)
            self._tell_intended(newest, end, entry)
        self._tell_committed(end, entry, last)

    def claim(self, run_id: str) -> None:
        """Take the lease of a run on record, to go on with it.

        Raises UsageError when there is no such run, when it is finished, or when another program
        has it.
        """
        with self.database.write() as connection:
            end = self._claim_run(connection, run_id)
        if end is None:
            raise self.unknown_run_error(run_id)
        self._ends[run_id] = end

    def events(self, run_id: str) -> tuple[Event, ...]:
        """Every event of a run, once its chain and its seal were checked. Raises RecordError."""
        try:
            return verified_events(self.stored_run(run_id))
        except BrokenRunError as broken:
            raise self.damaged_run_error(run_id, broken) from None

    def damaged_run_error(self, run_id: str, broken: BrokenRunError) -> RecordError:
        """The error for a run whose chain or seal does not hold."""
        at = "" if broken.event is None else f", event {broken.event}"
        return RecordError(
            f"{self.place(run_id)}: run {run_id}{at}: {broken.what}.",
            "The record was changed or damaged after it was written.",
            "Restore the store from a copy; do not use this run as evidence.",
        )

    def stored_run(self, run_id: str) -> StoredRun:
        """A run as it is stored, unchecked.

        Raises UsageError when there is none, BrokenRunError where its seal cannot be read.
        """
        with self.database.read() as connection:
            run = find_run(connection, run_id)
            if run is None:
                raise self.unknown_run_error(run_id)
            return read_run(connection, run)

    def has_run(self, run_id: str) -> bool:
        """Whether a run of this name is on record."""
        with self.database.read() as connection:
            return find_run(connection, run_id) is not None

    def run_ids(self) -> tuple[str, ...]:
        """The names of all runs in the order in which they came; a simulated clock tells none."""
        with self.database.read() as connection:
            query = select(RUNS.c.run_id).order_by(RUNS.c.number)
            return tuple(connection.execute(query).scalars())

    def voided_run_ids(self) -> frozenset[str]:
        """The names of the runs that are void."""
        with self.database.read() as connection:
            query = select(RUNS.c.run_id).join(VOIDED_RUNS, VOIDED_RUNS.c.run == RUNS.c.number)
            return frozenset(connection.execute(query).scalars())

    def head(self, run_id: str) -> str:
        """The hash of the last event of a run, in hexadecimal; certificates print it."""
        return self.stored_run(run_id).head.hex()

    def place(self, run_id: str) -> str:  # noqa: ARG002 - one place for all
        """The file, or the URL without its password."""
        return self.database.place

    def close(self) -> None:
        """Release every lease and close the database."""
        with suppress(RecordError):  # a lease that cannot be given back runs out
            if self._ends:
                with self.database.write() as connection:
                    for end in self._ends.values():
                        release_lease(connection, end.run["number"])
        self._ends.clear()
        self.witness.close()
        self.database.close()

    def __enter__(self) -> SqlStore:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _claim_run(self, connection: Connection, run_id: str) -> ChainEnd | None:
        """The end of a run on record, its lease taken; None when there is no such run."""
        self._compare_with_witness(connection)
        return claim_run(connection, run_id, self._holder)

    def _open_run(
        self, connection: Connection, run_id: str, events: Sequence[Event]
    ) -> tuple[ChainEnd, LedgerEntry]:
        """Open a new run, take its lease and append its ledger entry."""
        run = run_row(events) | {"number": next_run_number(connection), "run_id": run_id}
        entry = add_entry(
            connection, "opened", run["number"], {"run": run_id, "store": self.store_id}
        )
        connection.execute(insert(RUNS), [run | {"opening": entry.document}])
        take_lease(connection, run["number"], run_id, self._holder)
        return chain_end(run, 0, entry.hash), entry

    def _insert_events(
        self, connection: Connection, end: ChainEnd, events: Sequence[Event]
    ) -> ChainEnd:
        """Insert the events with their hashes, and the rows of the results among them."""
        rows, flat = [], []
        run, (number, head, run_id), operator = end.run["number"], end.newest, end.operator
        for event in events:
            number, body = number + 1, event_bytes(event)
            head = chain_hash(head, body)
            rows.append((run, number, body, head))
            if event.kind == "point_done":  # asking its class would cost as much as hashing it
                row = result_row(end.run, number, event)
                flat.append([row[name] for name in self._results.columns])
            elif event.kind == "run_started" or event.kind == "run_resumed":
                operator = event.operator
        self._events.add(connection, rows)
        if flat:
            self._results.add(connection, flat)
        newest = ChainPosition(number, head, run_id)
        return ChainEnd(end.run, newest, operator, end.renew_at_s)

    def _seal_run(self, connection: Connection, end: ChainEnd, last: RunFinished) -> LedgerEntry:
        """Sign the end of a run, release its lease and append its ledger entry."""
        number, run_id = end.run["number"], end.run["run_id"]
        seal = self.key.seal(run_id, end.newest.number, end.newest.hash, end.operator, last.at)
        release_lease(connection, number)
        content = {"run": run_id, "seal": seal.model_dump(mode="json")}
        return add_entry(connection, "sealed", number, content, last.verdict)

    def _tell_intended(
        self, newest: ChainPosition, end: ChainEnd, entry: LedgerEntry | None
    ) -> None:
        """Tell the witness, before the commit, what is about to be committed.

        An entry of the ledger stands for the events that are committed with it.
        """
        if entry is None:
            self.witness.note_intended_event(end.run["number"], newest, end.newest)
        else:
            self.witness.note_intended_entry(ChainPosition(entry.number, entry.hash))

    def _tell_committed(self, end: ChainEnd, entry: LedgerEntry | None, last: Event) -> None:
        """Tell the witness, after the commit, what was committed."""
        number = end.run["number"]
        if entry is not None:
            self.witness.note_committed_entry(ChainPosition(entry.number, entry.hash))
        if last.kind == "run_finished":
            self.witness.note_end(number, end.newest)
        else:
            self._ends[end.run["run_id"]] = end
            self.witness.note_committed_event(number, end.newest)

    def _compare_with_witness(self, connection: Connection) -> None:
        """Refuse, once for each opened store, to write on top of one that has lost something."""
        if not self._compared:
            self.refuse_loss(connection)
            self.witness.note_place(self.database.whole_place)
        self._compared = True

    def refuse_to_write_on_loss(self) -> None:
        """Raise RecordError where `append` would, for whoever notes something beside the runs."""
        with self.database.read() as connection:
            self._compare_with_witness(connection)

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

    def remember_ledger(self) -> None:
        """Remember how far the ledger goes: who reads an older copy later is told so.

        Who may not write to the witness can read nevertheless.
        """
        with self.database.read() as connection, suppress(RecordError):
            remember_ledger(connection, self.witness)
            self.witness.note_place(self.database.whole_place)

    def newest_entry(self) -> ChainPosition:
        """The newest entry of the ledger; its number is 0 where there is none, or a damaged one."""
        with self.database.read() as connection:
            number, digest = last_entry(connection)
        whole = isinstance(number, int) and isinstance(digest, bytes)
        return ChainPosition(number, digest) if whole else ChainPosition(0, ZERO_HASH)

    def is_seen(self) -> bool:
        """Whether this computer has seen the store before; a damaged witness shows that it has."""
        try:
            return self.witness.newest_entry().number > 0
        except RecordError:
            return True

    def unknown_run_error(self, run_id: str) -> UsageError:
        """The error for a run that is not on record; of a unit's tag, where its runs are."""
        with self.database.read() as connection:
            of_tag = func.lower(RUNS.c.asset) == run_id.lower()
            tag = connection.scalar(select(RUNS.c.asset).where(of_tag).limit(1))
        lists = "record list" if tag is None else f"record list --asset {quote(tag)}"
        return UsageError(
            f"There is no run '{run_id}' in {self.database.place}.",
            "" if tag is None else f"{tag} is a unit.",
            "Name a run by its whole number, or the newest by 'last'; their numbers: "
            f"'{typed_command(lists)}'.",
        )


def open_store(
    where: str, key_file: Path, witness_folder: Path, notify: Notify = no_notice, **options: Any
) -> SqlStore:
    """The store at `where`, made when there is none.

    `where`: see `open_database`. `key_file`: the operator's key, made at the first signing.
    `witness_folder`: where this computer remembers what it has seen of each store, and which keys
    it has had. `notify` gets messages that a person should see.
    """
    database = open_database(where, **options)
    try:
        key = OperatorKey(key_file, witness_folder / KEY_MEMORY_FILE, notify)
        return SqlStore(database, key, witness_folder, notify)
    except BaseException:
        database.close()
        raise
