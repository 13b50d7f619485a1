"""Copies of a whole store in one file, made while others write, and checked before they count."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from sqlalchemy import func, select

from ohmwright.model.errors import RecordError, UsageError

from .audit import audit
from .audit_finding import AuditFinding
from .database import Database, driver_connection
from .ledger import last_entry
from .open_database import ReadOnlyDatabase
from .private_files import create_private_file, link_into_place, make_private_folder
from .signed_contents import signatures
from .sql_store import open_store
from .tables import EVENTS, RUNS
from .trust import Signer, signers


@dataclass(frozen=True)
class CheckedCopy:
    """What a copy of a store holds, and what is wrong with it."""

    store_id: str
    runs: int
    events: int
    entries: int
    """Of the ledger."""
    head: str
    """Hash of the newest entry of the ledger, in hexadecimal."""
    signers: tuple[Signer, ...]
    findings: tuple[AuditFinding, ...]


def copy_store(database: Database, path: Path) -> CheckedCopy:
    """Copy a store in SQLite to the new file `path` and check the copy; return what it holds.

    Others may write meanwhile: the copy is the store at one moment. It is complete and on disk
    when this returns. A copy of a damaged store is made, too; its findings say so. Raises
    UsageError where there is a file, RecordError where it cannot be written.
    """
    with _draft_of(path) as draft:
        found = _copied(database, draft)
        link_into_place(draft, path)
    return found


def restore_store(copy: Path, path: Path) -> CheckedCopy:
    """Make the new store `path` of the file `copy`, which is only read; return what it holds.

    Raises UsageError where there is a file, RecordError where the copy is damaged in any place.
    """
    refuse_existing(path)  # before the copy is opened, which may take long
    database = ReadOnlyDatabase(copy, wait_s=5.0)
    try:
        with _draft_of(path) as draft:
            found = _copied(database, draft)
            _refuse_damaged(copy, found)
            link_into_place(draft, path)
    finally:
        database.close()
    return found


def refuse_existing(path: Path) -> None:
    """Raise UsageError where there is a file already, or a log of one."""
    for one in (path, path.with_name(f"{path.name}-wal")):
        if one.exists():
            raise UsageError(
                f"{one} exists.", "Nothing is ever written over.", "Give a place that is new."
            )


def _refuse_damaged(file: Path, copy: CheckedCopy) -> None:
    """Raise RecordError for a copy that is not whole."""
    if copy.findings:
        more = len(copy.findings) - 1
        raise RecordError(
            f"{file}: {copy.findings[0]}{f', and {more} more' if more else ''}.",
            "Nothing was restored: the copy was altered or damaged.",
            "Take another copy. What is whole in this one can be read and exported: "
            f"ohmwright record verify --records {file}",
        )


@contextmanager
def _draft_of(path: Path) -> Iterator[Path]:
    """A new file in a folder of its own beside `path`, which is removed at the end.

    Raises UsageError where `path` exists, RecordError for what cannot be written.
    """
    refuse_existing(path)
    try:
        make_private_folder(path.parent)
        with TemporaryDirectory(prefix=".ohmwright-", dir=path.parent) as folder:
            draft = Path(folder) / path.name
            os.close(create_private_file(draft))
            yield draft
    except (OSError, sqlite3.Error) as problem:
        raise RecordError(
            f"{path}: the copy cannot be written: {problem}.",
            "No copy was made; what it was to be made of is as it was.",
            "Make room there, or give another place.",
        ) from None


def _copied(database: Database, draft: Path) -> CheckedCopy:
    """Copy a store to the file `draft`, check it, and leave it on disk in one file."""
    with database.read() as connection, closing(sqlite3.connect(draft)) as target:
        target.execute("PRAGMA synchronous = FULL")
        driver_connection(connection).backup(target)
    found = _checked(draft)
    with closing(sqlite3.connect(draft)) as connection:
        connection.execute("PRAGMA synchronous = FULL")
        connection.execute("PRAGMA journal_mode = DELETE")  # to be read from any medium
    with draft.open("rb+") as file:
        os.fsync(file.fileno())
    return found


def _checked(path: Path) -> CheckedCopy:
    """Check every hash, link and signature of the store in the file `path`; see `audit`.

    It is held against itself alone, not against what this computer has seen of it.
    """
    with (
        TemporaryDirectory(prefix="ohmwright-") as nothing_seen,
        open_store(str(path), Path(nothing_seen) / "key", Path(nothing_seen)) as store,
    ):
        findings = tuple(one for one in audit(store) if one.kind == "wrong")
        with store.database.read() as connection:
            runs, events = (
                int(connection.execute(select(func.count()).select_from(table)).scalar_one())
                for table in (RUNS, EVENTS)
            )
            entries, head = last_entry(connection)
        by = tuple(signers(signatures(store.database)))
        return CheckedCopy(store.store_id, runs, events, entries, head.hex(), by, findings)
