"""Tables that sum up others, so that a question about a whole fleet reads few rows.

Triggers of the database keep them up to date with every inserted row (`migrations/`). This
module computes what they must hold from the rows that they sum up, to check or refill them.
"""

from __future__ import annotations

from collections.abc import Iterator

from sqlalchemy import Connection, Table, delete, select, text

from ohmwright.model.run_events import SWEEP_TITLE

from .ledger import lock_ledger
from .tables import NEWEST_RUNS, TALLIES

_TALLIES = """
SELECT model, step, point, stage, simulated, month, count(*),
       sum(CASE WHEN verdict = 'pass' THEN 1 ELSE 0 END), count(error_ppm),
       coalesce(sum(error_ppm), 0), coalesce(sum(error_ppm * error_ppm), 0)
FROM (
    SELECT model, step, point, stage, simulated, substr(at, 1, 7) AS month, verdict,
           CASE WHEN target > 0 AND value / 2 > target THEN 1000000
                WHEN target > 0 AND value < 0 THEN -1000000
                WHEN target > 0 THEN CAST(round(1e6 * ((value - target) / target)) AS BIGINT)
           END AS error_ppm
    FROM results
    WHERE run NOT IN (SELECT run FROM voided_runs)
) AS errors
GROUP BY model, step, point, stage, simulated, month
"""
_NEWEST = f"""
SELECT asset, simulated, number, run_id, model, serial, at, verdict
FROM (
    SELECT runs.*,
           (SELECT max(verdict) FROM ledger WHERE run = runs.number) AS verdict,
           row_number() OVER (
               PARTITION BY asset, simulated ORDER BY at DESC, number DESC
           ) AS place
    FROM runs
    WHERE number NOT IN (SELECT run FROM voided_runs)
    AND coalesce(work, CASE procedure WHEN '{SWEEP_TITLE}' THEN 'sweep' END, '') <> 'sweep'
) AS ranked
WHERE place = 1
"""
_MADE = ((TALLIES, _TALLIES), (NEWEST_RUNS, _NEWEST))


def rebuild_summary_tables(connection: Connection) -> None:
    """Fill every summary table anew, in the transaction of `connection`."""
    lock_ledger(connection)
    if connection.dialect.name == "postgresql":  # or a result that is being kept were left out
        connection.execute(text("LOCK TABLE tallies, newest_runs IN EXCLUSIVE MODE"))
    for table, query in _MADE:
        connection.execute(delete(table))
        connection.execute(text(f"INSERT INTO {table.name} ({', '.join(table.c.keys())}) {query}"))


def wrong_summary_tables(connection: Connection) -> Iterator[Table]:
    """Yield each summary table that differs from what its source rows sum up to."""
    for table, query in _MADE:
        made, found = connection.execute(text(query)), connection.execute(select(table))
        if set(map(tuple, made)) != set(map(tuple, found)):
            yield table
