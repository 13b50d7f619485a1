"""Rows of the tables of runs and results, made from events alone so that they can be checked."""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from ohmwright.engine.run_so_far import run_started_event
from ohmwright.model.event import Event, PointDone

Row = dict[str, Any]


def sortable_time(at: datetime) -> str:
    """A time as text that sorts by time: ISO 8601 in UTC, always of the same width."""
    aware = at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)
    return aware.isoformat(timespec="microseconds")


def run_row(events: Sequence[Event]) -> Row:
    """The columns of the table of runs that the events of a run fill.

    Its start stands first, but in older records of benches worked by hand: there it comes after
    what a person was asked at first contact.
    """
    started = run_started_event(events)
    row: Row = dict.fromkeys(("asset", "model", "serial", "procedure", "operator"), "")
    row["work"] = None
    if started is not None:
        unit = started.asset
        row |= {"asset": unit.id, "model": unit.model, "serial": unit.serial}
        row |= {"procedure": started.procedure, "operator": started.operator}
        row["work"] = started.work
    simulated = started is not None and started.seed is not None
    return row | {"at": sortable_time(events[0].at), "simulated": int(simulated)}


def with_settings(row: Row) -> Row:
    """The row of a result with what was set for it, as its event in the column `body` says.

    That column is left out. A point without a target, as of a sweep, has the quantity of its value.
    """
    result = json.loads(row.pop("body"))["result"]
    measured = result.get("measured") or {}
    row["quantity"] = row["quantity"] or measured.get("quantity")
    row["simulated"] = bool(row["simulated"])
    return row | {key: result.get(key) for key in ("mode", "setting_w", "load_ohm")}


def result_row(run: Row, number: int, event: PointDone) -> Row:
    """The row of one result; `run` is the run's row, `number` that of the result's event."""
    result = event.result
    target, measured = result.target, result.measured
    return {
        "run": run["number"],
        "event": number,
        "asset": run["asset"],
        "model": run["model"],
        "stage": result.stage,
        "step": result.step,
        "point": result.point,
        "kind": result.kind,
        "quantity": None if target is None else target.quantity,
        "value": None if measured is None else measured.value,
        "uncertainty": None if measured is None else measured.uncertainty,
        "target": None if target is None else target.value,
        "lower": None if target is None else target.lower,
        "upper": None if target is None else target.upper,
        "verdict": result.verdict,
        "at": sortable_time(event.at),
        "simulated": run["simulated"],
    }
