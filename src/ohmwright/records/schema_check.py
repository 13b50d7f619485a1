"""Whether the file and the tables of a store are as the migrations made them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cache

from sqlalchemy import Connection, create_engine, text

from .audit_finding import AuditFinding
from .migrate import run_migrations

_APPEND_ONLY = (
    *("store", "runs", "events", "ledger", "results"),
    *("asset_changes", "campaigns", "campaign_log"),
)
_SUMMING = {"results_tally", "runs_newest", "ledger_newest"}


def file_damage(connection: Connection) -> Iterator[AuditFinding]:
    """What SQLite finds wrong with its own file."""
    if connection.dialect.name == "sqlite":
        for line in connection.execute(text("PRAGMA integrity_check")).scalars():
            if line != "ok":
                yield AuditFinding(f"the file is damaged: {line}")


def altered_tables(connection: Connection) -> Iterator[AuditFinding]:
    """Each table, index or trigger against changes that is not as the migrations made it."""
    if connection.dialect.name == "sqlite":
        expected, found = _schema_as_made(), _schema(connection)
        if altered := sorted({key for key, _ in expected ^ found}):
            yield AuditFinding(_altered_words(altered))
        return
    query = "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled IN ('O', 'A')"
    there = set(connection.execute(text(query)).scalars())
    for table in _APPEND_ONLY:
        for trigger in (f"{table}_no_change", f"{table}_no_truncate"):
            if trigger not in there:
                yield AuditFinding(f"'{trigger}' is off or gone: rows may have been changed")
    for trigger in sorted(_SUMMING - there):
        yield AuditFinding(f"'{trigger}' is off or gone: summaries may be out of date")


def _altered_words(names: Sequence[str]) -> str:
    """Say which names are not as they were made, in one line: what is below it is to be read."""
    named = ", ".join(f"'{name}'" for name in names)
    if len(names) == 1:
        return f"{named} is not as it was made: rows may have been changed through it"
    return f"{named} are not as they were made: rows may have been changed through them"


def _schema(connection: Connection) -> set[tuple[str, str]]:
    """Type and name, table and SQL text of everything in a SQLite schema."""
    rows = connection.execute(text("SELECT type, name, tbl_name, sql FROM sqlite_master"))
    return {(str(row.name), repr(tuple(row))) for row in rows}


@cache
def _schema_as_made() -> set[tuple[str, str]]:
    """The SQLite schema that the migrations make in an empty database."""
    engine = create_engine("sqlite://")
    try:
        with engine.begin() as connection:
            run_migrations(connection)
            return _schema(connection)
    finally:
        engine.dispose()
