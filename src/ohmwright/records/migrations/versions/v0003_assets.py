"""The register of assets and the campaigns: tables that only grow, as those of runs do."""

from __future__ import annotations

from collections.abc import Iterator

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"

KEYS = {
    "asset_changes": ("tag", "revision"),
    "campaigns": ("name",),
    "campaign_log": ("campaign", "number"),
}


def upgrade() -> None:
    """Make them, empty."""
    _table(
        "asset_changes",
        _text("tag", key=True),
        _whole("revision", key=True),
        *(_text(name) for name in ("at", "by", "what", "why")),
        *(_text(name) for name in ("maker", "model", "serial", "site", "owner", "procedure")),
        _whole("interval_months"),
        _text("state"),
    )
    _table(
        "campaigns",
        _text("name", key=True),
        *(_text(name) for name in ("at", "by", "work")),
        _whole("simulated"),
        _whole("after_run"),
    )
    _table(
        "campaign_log",
        _text("campaign", key=True),
        _whole("number", key=True),
        *(_text(name) for name in ("tag", "at", "by", "bench", "what", "words", "run_id")),
    )
    sqlite = op.get_bind().dialect.name == "sqlite"
    for statement in _sqlite_triggers() if sqlite else _postgresql_triggers():
        op.execute(statement)


def _sqlite_triggers() -> Iterator[str]:
    """SQLite's INSERT OR REPLACE fires no delete trigger, so a key that is there is refused."""
    for table, key in KEYS.items():
        for verb in ("UPDATE", "DELETE"):
            yield (
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, 'append-only: {table}'); END"
            )
        there = " AND ".join(f"{name} = NEW.{name}" for name in key)
        yield (
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {there}) "
            f"BEGIN SELECT RAISE(ABORT, 'append-only, there already: {table}'); END"
        )


def _postgresql_triggers() -> Iterator[str]:
    """The function `append_only` is of the first migration."""
    for table in KEYS:
        yield (
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION append_only()"
        )
        yield (
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION append_only()"
        )


def _table(name: str, *columns: sa.Column[int] | sa.Column[str]) -> None:
    op.create_table(name, *columns, sqlite_strict=True, sqlite_with_rowid=False)


def _whole(name: str, *, key: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, primary_key=key, nullable=False, autoincrement=False)


def _text(name: str, *, key: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, primary_key=key, nullable=False)
