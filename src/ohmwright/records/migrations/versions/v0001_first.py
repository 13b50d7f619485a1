"""The first tables, their indexes, and the triggers that keep them append-only."""

from __future__ import annotations

from typing import Any
from uuid import uuid4

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

KEYS = {
    "store": ("id",),
    "runs": ("number",),
    "events": ("run", "number"),
    "ledger": ("number",),
    "results": ("run", "event"),
}
_OTHER_UNIQUE = {"runs": ("run_id",)}
_REAL: sa.types.TypeEngine[float] = sa.Double().with_variant(sa.REAL(), "sqlite")


def upgrade() -> None:
    """Make everything."""
    _tables()
    _indexes()
    sqlite = op.get_bind().dialect.name == "sqlite"
    for statement in _sqlite_triggers() if sqlite else _postgresql_triggers():
        op.execute(statement)
    op.execute(f"INSERT INTO store (id) VALUES ('{uuid4().hex}')")


def _tables() -> None:
    _table("store", _text("id", key=True))
    _table(
        "runs",
        _whole("number", key=True),
        _bytes("opening"),
        *(_text(name) for name in ("run_id", "asset", "model", "serial")),
        *(_text(name) for name in ("procedure", "operator", "at")),
        _whole("simulated"),
    )
    _table(
        "events",
        _whole("run", key=True),
        _whole("number", key=True),
        _bytes("body"),
        _bytes("hash"),
    )
    _table(
        "ledger",
        _whole("number", key=True),
        _whole("run"),
        _text("what"),
        sa.Column("verdict", sa.Text),
        _bytes("document"),
        _bytes("hash"),
    )
    _table(
        "results",
        _whole("run", key=True),
        _whole("event", key=True),
        *(_text(name) for name in ("asset", "model", "stage", "step", "point", "kind")),
        sa.Column("quantity", sa.Text),
        *(sa.Column(name, _REAL) for name in ("value", "uncertainty", "target", "lower", "upper")),
        _text("verdict"),
        _text("at"),
        _whole("simulated"),
    )
    _table(
        "leases",
        _whole("run", key=True),
        _text("host"),
        _whole("pid"),
        _text("holder"),
        sa.Column("until_s", _REAL, nullable=False),
    )


def _indexes() -> None:
    op.create_index("runs_by_name", "runs", ["run_id"], unique=True)
    op.create_index("runs_by_asset", "runs", ["asset", "at"])
    op.create_index("ledger_by_run", "ledger", ["run", "what"])
    op.create_index("results_by_asset", "results", ["asset", "step", "point", "at"])
    point = ["model", "step", "point", "stage", "at"]
    op.create_index("results_by_model", "results", [*point, "verdict", "value"])
    op.create_index("results_by_verdict", "results", ["verdict", "at"])


def _sqlite_triggers() -> list[str]:
    """SQLite's INSERT OR REPLACE fires no delete trigger, so a key that is there is refused."""
    made = []
    for table, key in KEYS.items():
        for verb in ("UPDATE", "DELETE"):
            made.append(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'append-only: {table}'); END"
            )
        for columns in (key, _OTHER_UNIQUE.get(table)):
            if columns is None:
                continue
            there = " AND ".join(f"{name} = NEW.{name}" for name in columns)
            made.append(
                f"CREATE TRIGGER {table}_no_replace_{columns[-1]} BEFORE INSERT ON {table} "
                f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {there}) "
                f"BEGIN SELECT RAISE(ABORT, 'append-only, there already: {table}'); END"
            )
    return made


def _postgresql_triggers() -> list[str]:
    made = [
        "CREATE FUNCTION append_only() RETURNS trigger LANGUAGE plpgsql AS $$ "
        "BEGIN RAISE EXCEPTION 'append-only: %', TG_TABLE_NAME; END $$"
    ]
    for table in KEYS:
        made.append(
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION append_only()"
        )
        made.append(
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION append_only()"
        )
    return made


def _table(name: str, *columns: sa.Column[Any]) -> None:
    op.create_table(name, *columns, sqlite_strict=True, sqlite_with_rowid=False)


def _whole(name: str, *, key: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.Integer, primary_key=key, nullable=False, autoincrement=False)


def _text(name: str, *, key: bool = False) -> sa.Column[Any]:
    return sa.Column(name, sa.Text, primary_key=key, nullable=False)


def _bytes(name: str) -> sa.Column[Any]:
    return sa.Column(name, sa.LargeBinary, nullable=False)
