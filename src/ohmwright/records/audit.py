"""Whether a store is whole: the file, the tables, the ledger, every run, and the witness."""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Table, func, select

from ohmwright.model.errors import RecordError
from ohmwright.model.event import Event, PointDone, RunFinished

from .audit_finding import AuditFinding
from .canonical_json import canonical_json, sha256_digest
from .chain import BrokenRunError, StoredRun, verified_events
from .flat_rows import Row, result_row, run_row
from .ledger import ZERO_HASH, seal_of_entry
from .private_files import access_of_others
from .run_reader import read_run
from .schema_check import altered_tables, file_damage
from .sql_store import SqlStore
from .summaries import wrong_summary_tables
from .tables import EVENTS, LEDGER, RESULTS, RUNS
from .time_order import events_dated_backwards, runs_dated_backwards
from .witness import losses

_Check = Callable[[Connection, SqlStore], Iterable[AuditFinding]]
"""Yields what it finds wrong with a store in one view of its tables."""


def audit(store: SqlStore, only: Collection[str] = ()) -> Iterator[AuditFinding]:
    """All that is wrong with `store`; nothing when it is whole.

    `only`: the runs whose events are read; empty for all. The first finding of each run is
    its first event that is wrong.
    """
    for check in _CHECKS:
        yield from _findings_of(store, check)
    for run in _runs(store):
        if isinstance(run, AuditFinding):
            yield run
        elif not only or run["run_id"] in only:
            yield from _run(store, run)


def has_head(store: SqlStore, head: str) -> bool:
    """Whether some event or ledger entry of the store has the hash `head` (hexadecimal)."""
    try:
        wanted = bytes.fromhex(head)
    except (ValueError, RecursionError):
        return False
    with store.database.read() as connection:
        return any(
            connection.execute(select(table.c.number).where(table.c.hash == wanted)).first()
            for table in (EVENTS, LEDGER)
        )


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
    """Each entry's number, hash and link to the one before; its columns as its text says.

    Also the name of the store, by which the witness is found.
    """
    after, names = ZERO_HASH, _names(connection)
    for expected, row in enumerate(_rows(connection, LEDGER, LEDGER.c.number), start=1):
        entry, run = f"entry {expected} of the ledger", names.get(row["run"], "")
        document = _document(row["document"])
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


def _document(text_: bytes) -> dict[str, Any]:
    try:
        document = json.loads(text_)
    except (ValueError, RecursionError):
        return {}
    return document if isinstance(document, dict) else {}


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
    """Rows of a run that is not there."""
    names = _names(connection)
    for table in (EVENTS, RESULTS, LEDGER):
        for number in connection.execute(select(table.c.run).distinct()).scalars():
            if number not in names:
                yield AuditFinding(
                    f"the table of {table.name} has rows of run {number}, which is gone"
                )


def _summaries(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    """Summaries hold no evidence, so what is wrong with them can be put right."""
    for table in wrong_summary_tables(connection):
        what = f"the table of {table.name}, which is no evidence, is not what it sums up"
        yield AuditFinding(f"{what}: 'ohmwright record rebuild' makes it anew")


def _witness(connection: Connection, store: SqlStore) -> Iterator[AuditFinding]:
    yield from losses(connection, store.witness)


def _schema(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    yield from file_damage(connection)
    yield from altered_tables(connection)


def _times(connection: Connection, _: SqlStore) -> Iterator[AuditFinding]:
    yield from runs_dated_backwards(connection)


def _modes(_: Connection, store: SqlStore) -> Iterator[AuditFinding]:
    """Records tell of people and units, and whoever can write to the witness can silence it."""
    folder = store.witness.folder
    paths = [folder.parent, folder, *folder.glob("[!.]*"), store.key.memory]
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
    _times,
    _modes,
)


def _runs(store: SqlStore) -> Iterator[Row | AuditFinding]:
    """The rows of the table of runs."""
    found: list[Row | AuditFinding] = []
    try:
        with store.database.read() as connection:
            found += _rows(connection, RUNS, RUNS.c.number)
    except RecordError as error:
        found.append(AuditFinding(error.happened))
    except (TypeError, ValueError) as problem:
        found.append(AuditFinding(f"the table of runs is damaged: {problem}"))
    yield from found


def _run(store: SqlStore, row: Row) -> Iterator[AuditFinding]:
    """The first thing that is wrong with one run; of one that is whole, what is strange."""
    name = str(row["run_id"])
    try:
        with store.database.read() as connection:
            kept = read_run(connection, row)
            events = verified_events(kept)
            _flat_as_kept(connection, row, events)
            _ledger_as_kept(connection, row, kept, events)
        yield from events_dated_backwards(name, events)
    except BrokenRunError as broken:
        yield AuditFinding(broken.what, name, broken.event)
    except RecordError as error:
        yield AuditFinding(error.happened, name)
    except (TypeError, ValueError) as problem:
        yield AuditFinding(f"its rows are damaged: {problem}", name)


def _flat_as_kept(connection: Connection, row: Row, events: tuple[Event, ...]) -> None:
    """Whether the flat rows are those that the events make. Raises Broken."""
    own = {"number": row["number"], "run_id": row["run_id"], "opening": row["opening"]}
    if not events or row != run_row(events[0]) | own:
        raise BrokenRunError("its line in the table of runs is not what its first event says", 1)
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


def _ledger_as_kept(
    connection: Connection, row: Row, kept: StoredRun, events: tuple[Event, ...]
) -> None:
    """Whether the ledger opened the run as it says, and tells its verdict. Raises Broken."""
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
    if [entry.verdict for entry in sealed] != ([] if verdict is None else [verdict]):
        raise BrokenRunError("its verdict in the ledger is not that of its last event", len(events))
    if kept.seal is None and any(entry.verdict is not None for entry in entries):
        raise BrokenRunError("the ledger has a verdict and no seal")
    imported = {_document(e.document).get("head") for e in entries if e.what == "imported"}
    if not imported <= _heads(kept):
        raise BrokenRunError("it is not what was imported")


def _heads(kept: StoredRun) -> set[Any]:
    return {one.hash.hex() for one in kept.events}


def _names(connection: Connection) -> dict[int, str]:
    return {row.number: row.run_id for row in connection.execute(select(RUNS))}


def _rows(connection: Connection, table: Table, order: Any) -> list[Row]:
    return [dict(row) for row in connection.execute(select(table).order_by(order)).mappings()]
