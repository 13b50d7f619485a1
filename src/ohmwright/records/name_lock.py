"""A lock by name, held to the end of a transaction; it needs no right to change any table."""

from __future__ import annotations

from sqlalchemy import Connection, text


def lock_name(connection: Connection, name: str) -> None:
    """Let no other program pass here with the same name until this transaction ends.

    SQLite has one writer at a time anyway.
    """
    if connection.dialect.name == "postgresql":
        lock = text("SELECT pg_advisory_xact_lock(hashtext(:name))")
        connection.execute(lock, {"name": f"ohmwright {name}"})
