"""Indexes for finding runs; in PostgreSQL a bench needs no right to change what is recorded.

What has to be locked or summed when a bench adds to the store is done by functions that act with
the rights of the tables' owner.
"""

from __future__ import annotations

from alembic import op

revision = "0005"
down_revision = "0004"

_INDEXES = (
    ("runs_by_at", "runs", ("at",)),
    ("runs_by_serial", "runs", ("serial", "at")),
    ("runs_by_operator", "runs", ("operator", "at")),
    ("runs_by_model", "runs", ("model", "at")),
    ("ledger_by_verdict", "ledger", ("verdict", "run")),
    ("ledger_verdicts", "ledger", ("run", "verdict")),
)
_LOCK_LEDGER = """
CREATE FUNCTION lock_ledger() RETURNS void LANGUAGE plpgsql SECURITY DEFINER AS $$
BEGIN LOCK TABLE ledger IN EXCLUSIVE MODE; END $$
"""
"""PostgreSQL lets nobody lock a table in this mode who may only add to it."""
_SUMMING = ("results_tally", "runs_newest", "ledger_newest", "ledger_voided")
"""Functions of triggers, which change the rows of summaries."""


def upgrade() -> None:
    """Make the indexes; have triggers and the lock of the ledger act with their owner's rights."""
    for name, table, columns in _INDEXES:
        op.create_index(name, table, list(columns))
    if op.get_bind().dialect.name != "postgresql":
        return
    op.execute(_LOCK_LEDGER)
    schema = op.get_bind().exec_driver_sql("SELECT quote_ident(current_schema())").scalar_one()
    for name in ("lock_ledger", *_SUMMING):
        op.execute(f"ALTER FUNCTION {name}() SECURITY DEFINER SET search_path = {schema}, pg_temp")
