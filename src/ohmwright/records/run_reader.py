"""Reads the store's name and runs as they are stored, not yet checked."""

from __future__ import annotations

import re

from sqlalchemy import Connection, select

from ohmwright.model.errors import RecordError

from .chain import StoredEvent, StoredRun
from .database import Database
from .flat_rows import Row
from .ledger import end_of_run
from .tables import EVENTS, RUNS, STORE


def store_id(database: Database) -> str:
    """The name that the store was given when it was made: 32 hexadecimal digits.

    Raises RecordError where it is missing or damaged.
    """
    with database.read() as connection:
        (*found,) = connection.execute(select(STORE.c.id)).scalars()
    if len(found) != 1 or re.fullmatch("[0-9a-f]{32}", str(found[0])) is None:
        raise RecordError(
            f"{database.place}: the store has lost its name: the file is damaged.",
            "Nothing was written to it.",
            "Restore a copy; do not use it as evidence.",
        )
    return str(found[0])


def read_run(connection: Connection, run: Row) -> StoredRun:
    """A run as it is stored; `run` is its row in the table of runs. Raises BrokenRunError."""
    query = select(EVENTS.c.number, EVENTS.c.body, EVENTS.c.hash)
    rows = connection.execute(query.where(EVENTS.c.run == run["number"]).order_by(EVENTS.c.number))
    events = tuple(StoredEvent(*row) for row in rows)
    seal, addenda = end_of_run(connection, run["number"])
    return StoredRun(run["run_id"], run["opening"], events, seal, addenda)


def find_run(connection: Connection, run_id: str) -> Row | None:
    """The row of a run in the table of runs; None when there is none."""
    found = connection.execute(select(RUNS).where(RUNS.c.run_id == run_id)).mappings().first()
    return None if found is None else dict(found)
