"""Void runs are what the ledger says: the table that listed them becomes a view of it."""

from __future__ import annotations

from alembic import op

revision = "0010"
down_revision = "0009"

_LISTED = """
INSERT INTO voided_runs (run) SELECT NEW.run WHERE NEW.what = 'voided'
ON CONFLICT (run) DO NOTHING;
DELETE FROM voided_runs WHERE run = NEW.run AND NEW.what = 'reinstated';
"""
_VIEW = """
CREATE VIEW voided_runs AS
SELECT run FROM ledger WHERE what IN ('voided', 'reinstated')
GROUP BY run
HAVING max(CASE what WHEN 'voided' THEN number ELSE 0 END)
     > max(CASE what WHEN 'voided' THEN 0 ELSE number END)
"""


def upgrade() -> None:
    """Take the list out of the trigger, then put a view, and its index, in place of the table."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    what = (
        "SELECT sql FROM sqlite_master WHERE name = 'ledger_voided'"
        if sqlite
        else "SELECT pg_get_functiondef('ledger_voided()'::regprocedure)"
    )
    trigger = str(op.get_bind().exec_driver_sql(what).scalar_one())
    assert _LISTED in trigger
    if sqlite:
        op.execute("DROP TRIGGER ledger_voided")
    op.drop_table("voided_runs")
    op.execute(
        "CREATE INDEX ledger_by_validity ON ledger (run, what, number) "
        "WHERE what IN ('voided', 'reinstated')"
    )
    op.execute(_VIEW)
    op.get_bind().exec_driver_sql(trigger.replace(_LISTED, ""))
