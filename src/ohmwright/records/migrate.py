"""Makes the tables of a new store and migrates those of an older version."""

from __future__ import annotations

import glob
import os
import sqlite3
from contextlib import suppress
from pathlib import Path
from secrets import token_hex
from threading import Lock

from sqlalchemy import Connection, inspect, text

from ohmwright.model.errors import RecordError
from ohmwright.model.typed_command import typed_command

from .database import Database, driver_connection
from .notices import Notify, no_notice
from .open_database import ReadOnlyDatabase, is_only_read, open_database
from .private_files import create_private_file, link_into_place
from .sqlite_file import copy_beside
from .summaries import rebuild_summary_tables

NEWEST_VERSION = "0012"
_OLDER_VERSIONS = tuple(f"{version:04}" for version in range(1, int(NEWEST_VERSION)))
_DRAFT = ".new.sqlite"
_DRAFT_AGE_S = 3600.0
_ALEMBIC = Lock()  # it keeps what it works on in globals
_LOCK = 0x6F686D77  # any number of our own; PostgreSQL's advisory locks are named by numbers


def migrate_to_newest(database: Database, notify: Notify = no_notice) -> None:
    """Make the tables, or migrate them to the newest version, where they are not of it already.

    The version is asked in plain SQL first, since Alembic takes longer to import than a run to
    start. A file is copied before it is migrated, and `notify` gets the copy's place; of a file
    that may not be written to, a private copy is migrated. Raises RecordError when a newer
    ohmwright made the tables, or the file has lost them.
    """
    if database.is_sqlite:
        _create_file(Path(database.place))
    with database.read() as connection:
        found = _version(connection)
    if found == NEWEST_VERSION:
        return
    if found is not None and found not in _OLDER_VERSIONS:
        raise RecordError(
            f"{database.place}: its tables are of version {found}; this program knows "
            f"{NEWEST_VERSION}.",
            "A newer ohmwright made them, or the file is damaged.",
            "Use the newest ohmwright on every bench.",
        )
    if found is None and database.is_sqlite:
        raise _lost_tables_error(f"{database.place}: the file is there and holds no tables.")
    if isinstance(database, ReadOnlyDatabase):
        with database.errors_translated(), database.switch_to_copy().begin() as connection:
            run_migrations(connection)
        return
    if is_only_read():  # on a server, of which there is no copy
        raise RecordError(
            f"{database.place}: its tables are of an older version of ohmwright.",
            "They are not brought up to date where nothing is to be changed.",
            f"Have them brought up to date: {typed_command('record list')}",
        )
    with database.write() as connection:
        if not database.is_sqlite:  # which has one writer anyway
            connection.execute(text("SET LOCAL lock_timeout = '60s'"))  # while another makes them
            connection.execute(text("SET LOCAL statement_timeout = 0"))  # an index takes its time
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        found = _version(connection)
        if found is not None and found != NEWEST_VERSION and database.is_sqlite:
            _copy_before_migration(Path(database.place), found, notify)
        if found != NEWEST_VERSION:
            run_migrations(connection)


def _copy_before_migration(path: Path, version: str, notify: Notify) -> None:
    """Copy the file beside itself. The caller's write transaction keeps other writers out."""
    try:
        copy = copy_beside(path, version)
    except (OSError, sqlite3.Error) as problem:
        raise RecordError(
            f"{path}: before its tables are brought up to date it is copied, and cannot be: "
            f"{problem}.",
            "Nothing was changed.",
            "Make room beside it, or correct the permissions, and try again.",
        ) from None
    notify(f"{path} is brought up to date; as it was until now it is kept in {copy}")


def _create_file(path: Path) -> None:
    """Make a missing file with its tables beside its place, then link it in.

    So a file without tables is never one that was being made, but one that lost them.
    """
    if path.exists():
        _remove_left_drafts(path)
        return
    if path.with_name(f"{path.name}-wal").exists():
        raise _lost_tables_error(f"{path}: the file is gone, and its log is still there.")
    draft = path.with_name(f"{path.stem}.{token_hex(4)}{_DRAFT}")
    try:
        os.close(create_private_file(draft))
    except OSError as problem:
        raise RecordError(
            f"{path} cannot be made: {problem.strerror}.",
            "Without a record nothing is measured.",
            "Give --records a folder that you may write to.",
        ) from None
    made = open_database(str(draft))
    try:
        with made.write() as connection:
            run_migrations(connection)
        _fold_log_in(made)
        made.close()
        link_into_place(draft, path)  # unless another program was first
    finally:
        made.close()
        for end in ("", "-wal", "-shm", "-journal"):  # where the disk is full, SQLite leaves them
            draft.with_name(f"{draft.name}{end}").unlink(missing_ok=True)


def _fold_log_in(database: Database) -> None:
    """Write a file's whole log into the file.

    Closing it does so, too, but says nothing where the disk is full: a file without its log is a
    damaged one. Raises RecordError.
    """
    with database.errors_translated(), database.engine.connect() as connection:
        driver_connection(connection).execute("PRAGMA wal_checkpoint(TRUNCATE)")


def _remove_left_drafts(path: Path) -> None:
    """Remove what programs left that were killed while they made the store at `path`.

    It holds no records. One that is not long older than the store may be in use.
    """
    with suppress(OSError):  # it is in nobody's way
        before_s = path.stat().st_mtime - _DRAFT_AGE_S
        for left in path.parent.glob(f"{glob.escape(path.stem)}.????????{_DRAFT}*"):
            if left.stat().st_mtime < before_s:
                left.unlink()


def _lost_tables_error(happened: str) -> RecordError:
    """The error for a store that was there and is not any more."""
    return RecordError(
        happened,
        "What was recorded there is lost, unless there is a copy.",
        "Restore a copy; to begin anew, move what is left away.",
    )


def run_migrations(connection: Connection) -> None:
    """Run every migration that is missing, in the transaction of `connection`.

    The summary tables are filled anew after the last one, so no migration has to fill them.
    """
    from alembic import command
    from alembic.config import Config

    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", "ohmwright.records:migrations")
    config.set_main_option("path_separator", "os")
    with _ALEMBIC:
        command.upgrade(config, "head")
    rebuild_summary_tables(connection)


def _version(connection: Connection) -> str | None:
    """The version of the tables; None where there are none."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
