"""The tables of a store brought up to date."""

from __future__ import annotations

from sqlalchemy import Connection, inspect, text

from ohmwright.model.errors import RecordError

from .database import Database

NEWEST = "0001"
_LOCK = 0x6F686D77  # any number of our own; PostgreSQL's advisory locks are named by numbers


def bring_up_to_date(database: Database) -> None:
    """Make or migrate the tables where they are not the newest.

    Asks for the version first, since Alembic takes longer to import than a run to start.
    Raises RecordError when a newer ohmwright made them.
    """
    with database.read() as connection:
        found = _version(connection)
    if found == NEWEST:
        return
    if found is not None:
        raise RecordError(
            f"{database.place}: its tables are of version {found}; this program knows {NEWEST}.",
            "A newer ohmwright made them, or the file is damaged.",
            "Use the newest ohmwright on every bench.",
        )
    with database.write() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _LOCK})
        if _version(connection) is None:
            upgrade(connection)


def upgrade(connection: Connection) -> None:
    """Run every migration that is missing, in the transaction of `connection`."""
    from alembic import command
    from alembic.config import Config

    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", "ohmwright.records:migrations")
    config.set_main_option("path_separator", "os")
    command.upgrade(config, "head")


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
