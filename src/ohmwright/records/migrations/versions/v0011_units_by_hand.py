"""Runs whose start is not their first event get the unit, operator and kind that it says.

Where the meter was read by eye, the first question came before the start, so that the rows of such
runs, and of their results, named no unit. Their events say it, and stay as they are.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"

_EVENTS = sa.text("SELECT body FROM events WHERE run = :run ORDER BY number")
_RUN = sa.text(
    "UPDATE runs SET asset = :asset, model = :model, serial = :serial, procedure = :procedure, "
    "operator = :operator, work = :work, simulated = :simulated WHERE number = :run"
)
_RESULTS = sa.text(
    "UPDATE results SET asset = :asset, model = :model, simulated = :simulated WHERE run = :run"
)
_APPEND_ONLY = ("runs", "results")


def upgrade() -> None:
    """Fill in the rows; the store fills the summaries once all migrations are done."""
    wrong = list(_wrong_rows())
    if not wrong:
        return
    refusals = _without_refusals()
    for row in wrong:
        for statement in (_RUN, _RESULTS):
            op.get_bind().execute(statement, row)
    for refusal in refusals:
        op.execute(refusal)


def _wrong_rows() -> Iterator[dict[str, Any]]:
    """Yield what the start of each run says whose row names no unit."""
    nameless = sa.text("SELECT number FROM runs WHERE asset = '' ORDER BY number")
    for run in op.get_bind().execute(nameless).scalars().all():
        started = _start(run)
        if started is not None:
            yield {"run": run, **started}


def _start(run: int) -> dict[str, Any] | None:
    """Return the columns that the start of a run fills; None for one without, or a damaged one."""
    for body in op.get_bind().execute(_EVENTS, {"run": run}).scalars():
        try:
            event = json.loads(bytes(body))
            if event["kind"] != "run_started":
                continue
            return {
                **{key: event["asset"][of] for key, of in _OF_UNIT},
                **{key: event[key] for key in ("procedure", "operator")},
                "work": event.get("work"),
                "simulated": int(event.get("seed") is not None),
            }
        except (ValueError, KeyError, TypeError):  # damaged: for the audit to tell
            return None
    return None


_OF_UNIT = (("asset", "id"), ("model", "model"), ("serial", "serial"))


def _without_refusals() -> list[str]:
    """Have the rows take changes; return the statements after which they take none any more."""
    if op.get_bind().dialect.name != "sqlite":
        for table in _APPEND_ONLY:
            op.execute(f"ALTER TABLE {table} DISABLE TRIGGER {table}_no_change")
        return [f"ALTER TABLE {table} ENABLE TRIGGER {table}_no_change" for table in _APPEND_ONLY]
    refusing = list[str]()
    for table in _APPEND_ONLY:
        name = f"{table}_no_update"
        query = f"SELECT sql FROM sqlite_master WHERE name = '{name}'"
        refusing.append(str(op.get_bind().exec_driver_sql(query).scalar_one()))
        op.execute(f"DROP TRIGGER {name}")
    return refusing
