"""The table of voided runs, and the trigger that takes such runs out of the summaries."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"

_LISTED = """
INSERT INTO voided_runs (run) SELECT NEW.run WHERE NEW.what = 'voided'
ON CONFLICT (run) DO NOTHING;
DELETE FROM voided_runs WHERE run = NEW.run AND NEW.what = 'reinstated';
"""
_COUNTED = """
INSERT INTO tallies (model, step, point, stage, simulated, month,
                     results, passed, measured, errors_ppm, squares_ppm2)
SELECT model, step, point, stage, simulated, month, sign * count(*),
       sign * sum(CASE WHEN verdict = 'pass' THEN 1 ELSE 0 END), sign * count(error_ppm),
       sign * coalesce(sum(error_ppm), 0), sign * coalesce(sum(error_ppm * error_ppm), 0)
FROM (
    SELECT model, step, point, stage, simulated, substr(at, 1, 7) AS month, verdict,
           CASE WHEN NEW.what = 'voided' THEN -1 ELSE 1 END AS sign,
           CASE WHEN target > 0 AND value / 2 > target THEN 1000000
                WHEN target > 0 AND value < 0 THEN -1000000
                WHEN target > 0 THEN CAST(round(1e6 * ((value - target) / target)) AS BIGINT)
           END AS error_ppm
    FROM results WHERE run = NEW.run
) AS errors
GROUP BY model, step, point, stage, simulated, month, sign
ON CONFLICT (model, step, point, stage, simulated, month) DO UPDATE
SET results = tallies.results + excluded.results, passed = tallies.passed + excluded.passed,
    measured = tallies.measured + excluded.measured,
    errors_ppm = tallies.errors_ppm + excluded.errors_ppm,
    squares_ppm2 = tallies.squares_ppm2 + excluded.squares_ppm2;
DELETE FROM tallies
WHERE results = 0 AND model = (SELECT model FROM runs WHERE number = NEW.run);
"""
_NEWEST = """
DELETE FROM newest_runs
WHERE (asset, simulated) = (SELECT asset, simulated FROM runs WHERE number = NEW.run);
INSERT INTO newest_runs (asset, simulated, run, run_id, model, serial, at, verdict)
SELECT asset, simulated, number, run_id, model, serial, at,
       (SELECT max(verdict) FROM ledger WHERE run = runs.number)
FROM runs
WHERE (asset, simulated) = (SELECT asset, simulated FROM runs WHERE number = NEW.run)
AND number NOT IN (SELECT run FROM voided_runs) AND procedure <> 'Sweep'
ORDER BY at DESC, number DESC LIMIT 1;
"""
_WHEN = "WHEN (NEW.what IN ('voided', 'reinstated'))"


def upgrade() -> None:
    """Make the table, empty: the store fills it once all migrations are done."""
    run = sa.Column("run", sa.Integer, primary_key=True, nullable=False, autoincrement=False)
    op.create_table("voided_runs", run, sqlite_strict=True, sqlite_with_rowid=False)
    what = f"{_LISTED}{_COUNTED}{_NEWEST}"
    if op.get_bind().dialect.name == "sqlite":
        body = f"BEGIN {what} END"
    else:
        op.execute(
            "CREATE FUNCTION ledger_voided() RETURNS trigger LANGUAGE plpgsql AS $$ "
            f"BEGIN {what} RETURN NULL; END $$"
        )
        body = "EXECUTE FUNCTION ledger_voided()"
    op.execute(f"CREATE TRIGGER ledger_voided AFTER INSERT ON ledger FOR EACH ROW {_WHEN} {body}")
