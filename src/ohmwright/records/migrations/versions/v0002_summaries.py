"""Tables that sum up others, and the triggers that bring them up to date; a wider index."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

_COUNT = """
INSERT INTO tallies (model, step, point, stage, simulated, month,
                     results, passed, measured, errors_ppm, squares_ppm2)
SELECT NEW.model, NEW.step, NEW.point, NEW.stage, NEW.simulated, substr(NEW.at, 1, 7),
       1, CASE WHEN NEW.verdict = 'pass' THEN 1 ELSE 0 END,
       CASE WHEN error_ppm IS NULL THEN 0 ELSE 1 END,
       coalesce(error_ppm, 0), coalesce(error_ppm * error_ppm, 0)
FROM (
    SELECT CASE WHEN NEW.target > 0 AND NEW.value / 2 > NEW.target THEN 1000000
                WHEN NEW.target > 0 AND NEW.value < 0 THEN -1000000
                WHEN NEW.target > 0
                THEN CAST(round(1e6 * ((NEW.value - NEW.target) / NEW.target)) AS BIGINT)
           END AS error_ppm
) AS errors
WHERE true
ON CONFLICT (model, step, point, stage, simulated, month) DO UPDATE
SET results = tallies.results + 1, passed = tallies.passed + excluded.passed,
    measured = tallies.measured + excluded.measured,
    errors_ppm = tallies.errors_ppm + excluded.errors_ppm,
    squares_ppm2 = tallies.squares_ppm2 + excluded.squares_ppm2;
"""
_NEWEST = """
INSERT INTO newest_runs (asset, simulated, run, run_id, model, serial, at, verdict)
VALUES (NEW.asset, NEW.simulated, NEW.number, NEW.run_id, NEW.model, NEW.serial, NEW.at,
        (SELECT max(verdict) FROM ledger WHERE run = NEW.number))
ON CONFLICT (asset, simulated) DO UPDATE
SET run = excluded.run, run_id = excluded.run_id, model = excluded.model,
    serial = excluded.serial, at = excluded.at, verdict = excluded.verdict
WHERE (excluded.at, excluded.run) > (newest_runs.at, newest_runs.run);
"""
_DECIDED = """
UPDATE newest_runs SET verdict = NEW.verdict
WHERE run = NEW.run
AND (asset, simulated) = (SELECT asset, simulated FROM runs WHERE number = NEW.run);
"""
_TRIGGERS = (
    # name, table, when, what
    ("results_tally", "results", "", _COUNT),
    ("runs_newest", "runs", "", _NEWEST),
    ("ledger_newest", "ledger", "WHEN (NEW.verdict IS NOT NULL)", _DECIDED),
)
_LONG: sa.types.TypeEngine[int] = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make them, empty: the store fills them once all migrations are done."""
    _tables()
    op.drop_index("results_by_model", "results")
    point, asked = ["model", "step", "point", "stage", "at"], ["verdict", "value", "target"]
    asked += ["uncertainty", "lower", "upper", "asset"]
    op.create_index("results_by_model", "results", [*point, *asked])
    sqlite = op.get_bind().dialect.name == "sqlite"
    for name, table, when, what in _TRIGGERS:
        if sqlite:
            body = f"BEGIN {what} END"
        else:
            op.execute(
                f"CREATE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ "
                f"BEGIN {what} RETURN NULL; END $$"
            )
            body = f"EXECUTE FUNCTION {name}()"
        op.execute(f"CREATE TRIGGER {name} AFTER INSERT ON {table} FOR EACH ROW {when} {body}")


def _tables() -> None:
    options = {"sqlite_strict": True, "sqlite_with_rowid": False}
    op.create_table(
        "tallies",
        *(_text(name, key=True) for name in ("model", "step", "point", "stage")),
        _whole("simulated", key=True),
        _text("month", key=True),
        *(_whole(name) for name in ("results", "passed", "measured")),
        *(sa.Column(name, _LONG, nullable=False) for name in ("errors_ppm", "squares_ppm2")),
        **options,
    )
    op.create_table(
        "newest_runs",
        _text("asset", key=True),
        _whole("simulated", key=True),
        _whole("run"),
        *(_text(name) for name in ("run_id", "model", "serial", "at")),
        sa.Column("verdict", sa.Text),
        **options,
    )


def _whole(name: str, *, key: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer, primary_key=key, nullable=False, autoincrement=False)


def _text(name: str, *, key: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text, primary_key=key, nullable=False)
