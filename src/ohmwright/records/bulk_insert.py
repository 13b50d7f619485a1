"""Inserts many rows with one statement, past SQLAlchemy.

SQLAlchemy's bookkeeping for a statement costs several times what SQLite needs to execute it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import chain

from sqlalchemy import Connection, Dialect, Table, insert

from .database import driver_connection

_MOST_VALUES = 30_000
"""SQLite takes 32,766 values in a statement, PostgreSQL 65,535."""


class BulkInsert:
    """Inserts rows into one table, as many in a statement as one can hold."""

    def __init__(self, table: Table, dialect: Dialect) -> None:
        self.columns = tuple(table.c.keys())
        """Names of the columns, in the order in which a row holds their values."""
        text = str(insert(table).compile(dialect=dialect))
        self._head, self._row = text.split(" VALUES ")
        self._texts: dict[int, str] = {}

    def add(self, connection: Connection, rows: Sequence[Sequence[object]]) -> None:
        """Insert `rows`, each in the order of `columns`, in the transaction of `connection`."""
        most = _MOST_VALUES // len(self.columns)
        for first in range(0, len(rows), most):
            part = rows[first : first + most]
            driver_connection(connection).execute(
                self._text(len(part)), [*chain.from_iterable(part)]
            )

    def _text(self, rows: int) -> str:
        """The INSERT statement for so many rows; made once for each number."""
        if rows not in self._texts:
            self._texts[rows] = f"{self._head} VALUES {', '.join([self._row] * rows)}"
        return self._texts[rows]
