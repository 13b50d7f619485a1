"""A sweep is not a unit's newest run: it decides nothing about the unit."""

from __future__ import annotations

from alembic import op

revision = "0006"
down_revision = "0005"

_NEWEST = """
INSERT INTO newest_runs (asset, simulated, run, run_id, model, serial, at, verdict)
VALUES (NEW.asset, NEW.simulated, NEW.number, NEW.run_id, NEW.model, NEW.serial, NEW.at,
        (SELECT max(verdict) FROM ledger WHERE run = NEW.number))
ON CONFLICT (asset, simulated) DO UPDATE
SET run = excluded.run, run_id = excluded.run_id, model = excluded.model,
    serial = excluded.serial, at = excluded.at, verdict = excluded.verdict
WHERE (excluded.at, excluded.run) > (newest_runs.at, newest_runs.run);
"""


def upgrade() -> None:
    """Make the trigger of runs anew; the store fills the summaries once all migrations are done."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    op.execute("DROP TRIGGER runs_newest" if sqlite else "DROP TRIGGER runs_newest ON runs")
    body = f"BEGIN {_NEWEST} END" if sqlite else "EXECUTE FUNCTION runs_newest()"
    op.execute(
        "CREATE TRIGGER runs_newest AFTER INSERT ON runs FOR EACH ROW "
        f"WHEN (NEW.procedure <> 'Sweep') {body}"
    )
