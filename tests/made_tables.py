"""The tables of a new SQLite file without Alembic, which takes 0.1 s of a processor for them.

The migrations make them once in a program of tests; later files get the same statements. The audit
of every store still compares its tables with what the migrations make (`records/schema_check.py`).
"""

from functools import cache
from uuid import uuid4

from sqlalchemy import Connection, create_engine, inspect

from ohmwright.records.database import driver_connection
from ohmwright.records.migrate import run_migrations


def make_tables(connection: Connection) -> None:
    """Do what `run_migrations` does."""
    if connection.dialect.name != "sqlite" or inspect(connection).get_table_names():
        run_migrations(connection)
        return
    first_id, statements = _statements()
    for statement in statements:
        driver_connection(connection).execute(statement.replace(first_id, uuid4().hex))


@cache
def _statements() -> tuple[str, list[str]]:
    """The id of the store that the migrations made, and what makes it anew."""
    engine = create_engine("sqlite://")
    with engine.begin() as connection:
        run_migrations(connection)
        driver = driver_connection(connection)
        (first_id,) = driver.execute("SELECT id FROM store").fetchone()
        dump = [line for line in driver.iterdump() if line not in ("BEGIN TRANSACTION;", "COMMIT;")]
    engine.dispose()
    return str(first_id), dump
