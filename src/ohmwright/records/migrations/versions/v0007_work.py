"""Runs say what their work was; only in older ones is a sweep known by the procedure's title."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"

_BY_TITLE = "{run}procedure <> 'Sweep'"
_BY_WORK = "coalesce({run}work, CASE {run}procedure WHEN 'Sweep' THEN 'sweep' END, '') <> 'sweep'"


def upgrade() -> None:
    """Add the column, empty, and make anew both triggers that leave sweeps out."""
    op.add_column("runs", sa.Column("work", sa.Text))
    if op.get_bind().dialect.name == "sqlite":
        for trigger, run in (("runs_newest", "NEW."), ("ledger_voided", "")):
            made = _asked(f"SELECT sql FROM sqlite_master WHERE name = '{trigger}'")
            op.execute(f"DROP TRIGGER {trigger}")
            _make(made, run)
        return
    op.execute("DROP TRIGGER runs_newest ON runs")
    newest = "CREATE TRIGGER runs_newest AFTER INSERT ON runs FOR EACH ROW "
    _make(f"{newest} WHEN ({_BY_TITLE.format(run='NEW.')}) EXECUTE FUNCTION runs_newest()", "NEW.")
    _make(_asked("SELECT pg_get_functiondef('ledger_voided()'::regprocedure)"), "")


def _asked(query: str) -> str:
    return str(op.get_bind().exec_driver_sql(query).scalar_one())


def _make(made: str, run: str) -> None:
    """Make what `made` says, with sweeps known by their work instead of by their title."""
    by_title = _BY_TITLE.format(run=run)
    assert by_title in made
    op.get_bind().exec_driver_sql(made.replace(by_title, _BY_WORK.format(run=run)))
