"""Audit of a whole store: the file, the tables, the ledger, every run, and the witness."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

from sqlalchemy import ColumnElement, Connection, Table, false, func, select

from ohmwright.model.errors import RecordError
from ohmwright.model.typed_command import typed_command

from .analyzers_seen import analyzers_of_one_certificate
from .audit_finding import AuditFinding
from .canonical_json import canonical_json, sha256_digest
from .flat_rows import Row
from .ledger import NO_RUN, ZERO_HASH, entry_document
from .private_files import access_of_others
from .run_audit import EventsCheck, audit_run
from .schema_check import altered_tables, file_damage
from .sql_store import SqlStore
from .summaries import wrong_summary_tables
from .tables import EVENTS, LEDGER, RESULTS, RUNS
from .time_order import runs_dated_backwards
from .vouchers import wrong_vouchers
from .witness import losses, other_ends, other_stores

_Check = Callable[[Connection, SqlStore], Iterable[AuditFinding]]
"""Yields what it finds wrong with a store in one view of its tables."""


_HASH_BYTES, _LABEL_BYTES = 32, 6
"""Bytes of a hash, and how many of them a label holds."""


def audit(
    store: SqlStore, only: Collection[str] = (), more: Sequence[EventsCheck] = ()
) -> Iterator[AuditFinding]:
    """Yield everything that is wrong with `store`; nothing where it is whole.

    `only`: names of the runs whose events are checked; empty for all runs. Of each damaged run the
    first wrong event is reported; the events of a whole one also go through the checks `more`.
    """
    for check in _CHECKS:
        yield from _findings_of(store, check)
    for run in _runs(store):
        if isinstance(run, AuditFinding):
            yield run
        elif not only or run["run_id"] in only:
            yield from audit_run(store, run, more)


def has_head(store: SqlStore, head: str) -> bool:
    """Whether an event or a ledger entry of the store has the hash `head`.

    In hexadecimal, or its first twelve digits or more, as on a label.
    """
    with store.database.read() as connection:
        return any(
            connection.execute(select(table.c.number).where(_has_hash(table, head))).first()
            for table in (EVENTS, LEDGER)
        )


def run_ids_with_head(store: SqlStore, head: str) -> list[str]:
    """The names of the runs with an event of that hash, given as to `has_head`."""
    query = select(RUNS.c.run_id).join(EVENTS, EVENTS.c.run == RUNS.c.number)
    with store.database.read() as connection:
        return list(connection.execute(query.where(_has_hash(EVENTS, head)).distinct()).scalars())


def _has_hash(table: Table, head: str) -> ColumnElement[bool]:
    """Condition on the hash of a table."""
    try:
        wanted = bytes.fromhex(head[: len(head) // 2 * 2])
    except (ValueError, RecursionError):
        return false()
    if not _LABEL_BYTES <= len(wanted) < _HASH_BYTES:
        return table.c.hash == wanted
    missing = _HASH_BYTES - len(wanted)
    return table.c.hash.between(wanted + bytes(missing), wanted + b"\xff" * missing)


def _findings_of(store: SqlStore, check: _Check) -> Iterator[AuditFinding]:
    """What `check` finds; a failure to read is a finding."""
    try:
        with store.database.read() as connection:
            yield from list(check(connection, store))
    except RecordError as error:
        yield AuditFinding(error.happened)
    except (TypeError, ValueError, KeyError) as problem:  # a value of another type than kept
        yield AuditFinding(f"a table is damaged: {problem}")


def _ledger(connection: Connection, store: SqlStore) -> Iterator[AuditFinding]:
    """The first ledger entry whose number, hash, link or columns do not fit its document.

    Also an opening that names another store: the witness is found by the store's name.
    """
    after, names = ZERO_HASH, _names(connection)
    for expected, row in enumerate(_rows(connection, LEDGER, LEDGER.c.number), start=1):
        entry, run = f"entry {expected} of the ledger", names.get(row["run"], "")
        document = entry_document(row["document"])
        kept = (row["number"], row["what"], run, after.hex())
        said = tuple(document.get(key) for key in ("number", "what", "run", "after"))
        if (
            row["number"] != expected
            or said != kept
            or sha256_digest(row["document"]) != row["hash"]
        ):
            yield AuditFinding(f"{entry} is missing, altered or out of place", run)
            return
        if canonical_json(document) != row["document"]:
            yield AuditFinding(f"{entry} is not written as it was", run)
        if document["what"] == "opened" and document.get("store") != store.store_id:
            yield AuditFinding(f"{entry} was written under another name of the store", run)
            return
        after = row["hash"]


def _run_order(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    """The first run whose number does not follow the ledger's order.

    A run gets its number in the transaction of its first ledger entry, so numbers rise with
    these entries. Nothing else binds them, and the summaries take the order of runs from them.
    """
    first_entry = func.min(LEDGER.c.number)
    query = (
        select(RUNS.c.run_id, RUNS.c.number, first_entry.label("entry"))
        .join(LEDGER, LEDGER.c.run == RUNS.c.number)
        .group_by(RUNS.c.number, RUNS.c.run_id)
        .order_by(first_entry)
    )
    for before, after in pairwise(connection.execute(query).all()):
        if after.number < before.number:
            what = f"it is run number {after.number} of the store, and the ledger has it after"
            yield AuditFinding(f"{what} run {before.run_id}, number {before.number}", after.run_id)
            return


def _strays(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    """Each run number that other tables have and the table of runs has not."""
    names = _names(connection)
    for table in (EVENTS, RESULTS, LEDGER):
        for number in connection.execute(select(table.c.run).distinct()).scalars():
            if number not in names and not (table is LEDGER and number == NO_RUN):
                yield AuditFinding(
                    f"the table of {table.name} has rows of run {number}, which is gone"
                )


def _summaries(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    """Each summary table that differs from its source rows; it is no evidence and can be remade."""
    for table in wrong_summary_tables(connection):
        what = f"the table of {table.name}, which is no evidence, is not what it sums up"
        yield AuditFinding(f"{what}: '{typed_command('record rebuild')}' makes it anew")


def _witness(connection: Connection, store: SqlStore) -> Iterator[AuditFinding]:
    """What this computer has seen of the store and the store no longer holds."""
    yield from losses(connection, store.witness)
    yield from other_ends(connection, store.witness)
    yield from other_stores(store.database.whole_place, store.witness)


def _schema(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    """Damage that SQLite finds in its file, and tables or triggers that were altered."""
    yield from file_damage(connection)
    yield from altered_tables(connection)


def _times(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    """Runs that are dated before an earlier one."""
    yield from runs_dated_backwards(connection)


def _analyzers(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    """Runs by one certificate with different analyzers."""
    yield from analyzers_of_one_certificate(connection)


def _modes(_: Connection, store: SqlStore) -> Iterator[AuditFinding]:
    """A warning for each file or folder that others than its owner can read or change.

    Records tell of people and units, and whoever can write to the witness can silence it.
    """
    folder = store.witness.folder
    paths = [
        folder.parent,
        folder,
        *folder.glob("[!.]*"),
        store.key.memory,
        store.witness.ends.path,
        store.witness.places.path,
    ]
    if store.database.is_sqlite:
        file = Path(store.database.place)
        paths += [file, *(file.with_name(f"{file.name}{end}") for end in ("-wal", "-shm"))]
    for path in paths:
        may = access_of_others(path)
        if may is not None:
            mode = "700" if path.is_dir() else "600"
            what = f"others can {may} {path}; for you alone: chmod {mode} {path}"
            yield AuditFinding(what, kind="warning")


_CHECKS: tuple[_Check, ...] = (
    _schema,
    _ledger,
    _run_order,
    _strays,
    _summaries,
    _witness,
    wrong_vouchers,
    _times,
    _analyzers,
    _modes,
)


def _runs(store: SqlStore) -> Iterator[Row | AuditFinding]:
    """The rows of the table of runs; a finding where they cannot be read."""
    found: list[Row | AuditFinding] = []
    try:
        with store.database.read() as connection:
            found += _rows(connection, RUNS, RUNS.c.number)
    except RecordError as error:
        found.append(AuditFinding(error.happened))
    except (TypeError, ValueError) as problem:
        found.append(AuditFinding(f"the table of runs is damaged: {problem}"))
    yield from found


def _names(connection: Connection) -> dict[int, str]:
    """The name of each run, by its number."""
    return {row.number: row.run_id for row in connection.execute(select(RUNS))}


def _rows(connection: Connection, table: Table, order: Any) -> list[Row]:
    """All rows of `table`, ordered by the column `order`."""
    return [dict(row) for row in connection.execute(select(table).order_by(order)).mappings()]
