"""Runs have a column for their kind of work; in older ones the title alone tells a sweep."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

_BY_TITLE = "{run}procedure <> 'Sweep'"
_BY_WORK = "coalesce({run}work, CASE {run}procedure WHEN 'Sweep' THEN 'sweep' END, '') <> 'sweep'"


def upgrade() -> None:
    """Add the column, empty, and replace both triggers that leave sweeps out."""
    op.add_column("runs", sa.Column("work", sa.Text))
    if op.get_bind().dialect.name == "sqlite":
        for trigger, run in (("runs_newest", "NEW."), ("ledger_voided", "")):
            statement = _scalar(f"SELECT sql FROM sqlite_master WHERE name = '{trigger}'")
            op.execute(f"DROP TRIGGER {trigger}")
            _create_by_work(statement, run)
        return
    op.execute("DROP TRIGGER runs_newest ON runs")
    newest = "CREATE TRIGGER runs_newest AFTER INSERT ON runs FOR EACH ROW "
    _create_by_work(
        f"{newest} WHEN ({_BY_TITLE.format(run='NEW.')}) EXECUTE FUNCTION runs_newest()", "NEW."
    )
    _create_by_work(_scalar("SELECT pg_get_functiondef('ledger_voided()'::regprocedure)"), "")


def _scalar(query: str) -> str:
    """Return the one value of a query, as text."""
    return str(op.get_bind().exec_driver_sql(query).scalar_one())


def _create_by_work(statement: str, run: str) -> None:
    """Execute a CREATE statement with sweeps told by their work instead of by their title."""
    by_title = _BY_TITLE.format(run=run)
    assert by_title in statement
    op.get_bind().exec_driver_sql(statement.replace(by_title, _BY_WORK.format(run=run)))
