"""Transactions of a store's database, and its errors translated."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine
from sqlalchemy.exc import SQLAlchemyError

from ohmwright.model.errors import RecordError

from .database_errors import record_error


class DatabaseErrors:
    """Raises each error of a database within its block as a RecordError.

    A class and no generator, for a block is entered at every event.
    """

    def __init__(self, errors: tuple[type[Exception], ...], place: str) -> None:
        self._errors, self._place = errors, place

    def __enter__(self) -> None:
        return None

    def __exit__(self, _: object, problem: BaseException | None, __: object) -> None:
        if isinstance(problem, self._errors):
            raise record_error(problem, self._place) from problem


class Transaction:
    """The block of a write: on disk when it is left, undone by an error.

    A class and no generator, as `DatabaseErrors` is.
    """

    def __init__(self, database: Database) -> None:
        self._database = database

    def __enter__(self) -> Connection:
        with self._database.errors_translated():
            self._connection = self._database.begin()
        return self._connection

    def __exit__(self, _: object, problem: BaseException | None, __: object) -> None:
        with self._database.errors_translated():
            try:
                if problem is not None:
                    raise problem
                self._database.commit(self._connection)
            except BaseException:
                self._connection.close()
                raise


class Database:
    """Gives transactions of one store; raises RecordError for every error of the database."""

    def __init__(self, engine: Engine, place: str) -> None:
        self.engine, self.place = engine, place
        self.is_sqlite = engine.dialect.name == "sqlite"
        errors = (SQLAlchemyError, UnicodeDecodeError, engine.dialect.loaded_dbapi.Error)
        self._errors = DatabaseErrors(errors, place)
        self._writer: Connection | None = None
        self._file: tuple[int, int] | None = None

    @property
    def whole_place(self) -> str:
        """Its place, the same from whichever folder it is opened."""
        return str(Path(self.place).resolve()) if self.is_sqlite else self.place

    def write(self) -> Transaction:
        """A transaction that is on disk when its block is left; an error undoes all of it."""
        return Transaction(self)

    def begin(self) -> Connection:
        """A connection in a transaction that no other program's write can come between."""
        self._refuse_another_file()
        connection, self._writer = self._writer or self._new_transaction(), None
        if self.is_sqlite:
            try:
                driver_connection(connection).execute("BEGIN IMMEDIATE")
            except BaseException:
                connection.close()
                raise
        return connection

    def commit(self, connection: Connection) -> None:
        """Return when what was done in the transaction of `connection` is on disk."""
        if self.is_sqlite:
            driver_connection(connection).execute("COMMIT")
            self._writer = connection  # checking one out costs as much as an insert
            self._file = self._file or _file_identity(self.place)
        else:
            connection.commit()
            connection.close()

    def _new_transaction(self) -> Connection:
        """A connection in a transaction of SQLAlchemy's; those of a file are begun by us in it."""
        connection = self.engine.connect()
        connection.begin()
        return connection

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A view of the store that does not change while others write."""
        with self.errors_translated(), self.engine.connect() as connection:
            if self.is_sqlite:
                driver_connection(connection).execute("BEGIN")
            else:
                connection.execution_options(isolation_level="REPEATABLE READ")
            yield connection

    def _refuse_another_file(self) -> None:
        """Raise RecordError where the file was moved or replaced since the last write.

        Events written to a file that was moved away would not be found again.
        """
        if self._file is None or _file_identity(self.place) == self._file:
            return
        self.close()
        raise RecordError(
            f"{self.place}: the file was moved, removed or replaced while it was in use.",
            "What was recorded until now is in the file that was there.",
            "Put that file back, then resume the run.",
        )

    def errors_translated(self) -> DatabaseErrors:
        """A block that raises each error of the database within it as a RecordError."""
        return self._errors

    def close(self) -> None:
        """Close every connection."""
        if self._writer is not None:
            self._writer.close()
            self._writer = None
        self.engine.dispose()


def driver_connection(connection: Connection) -> Any:
    """The driver's own connection, for statements that are executed at every event.

    SQLAlchemy adds to a statement several times the time that SQLite needs for it; to find its
    `driver_connection`, which is another one for asynchronous drivers only, as much as a hash.
    """
    return connection.connection.dbapi_connection


def _file_identity(place: str) -> tuple[int, int] | None:
    """Device and inode number of a file; None where there is none."""
    try:
        found = os.stat(place)  # noqa: PTH116 - before every event, so the cheap way
    except OSError:
        return None
    return found.st_dev, found.st_ino
