"""`runs` and `show`: what is on record."""

from __future__ import annotations

from pathlib import Path

from rich.table import Table

from ohmwright.engine.run import results
from ohmwright.model.errors import UsageError
from ohmwright.model.event import RunFinished, RunStarted
from ohmwright.records.json_lines import JsonLinesStore

from .console import out, print_json
from .places import records_folder
from .run_command import exit_code, report, verdict
from .tables import budget_table


def list_runs(records: Path | None, *, as_json: bool) -> int:
    """One line a run, oldest first."""
    store = JsonLinesStore(records_folder(records))
    rows = []
    for run_id in store.run_ids():
        events = store.events(run_id)
        started = next((event for event in events if isinstance(event, RunStarted)), None)
        finished = bool(events) and isinstance(events[-1], RunFinished)
        rows.append(
            {
                "run": run_id,
                "unit": "" if started is None else started.asset.id,
                "procedure": "" if started is None else started.procedure,
                "state": verdict(events) if finished else "cut short",
            }
        )
    if as_json:
        print_json(rows)
        return 0
    table = Table("Run", "Unit", "Procedure", "State")
    for row in rows:
        table.add_row(*row.values())
    out().print(table if rows else f"No runs in {records_folder(records)} yet.")
    return 0


def show_run(run_id: str, records: Path | None, *, as_json: bool, budgets: bool) -> int:
    """The tables of one run, with its uncertainty budgets where wanted; its own exit code."""
    store = JsonLinesStore(records_folder(records))
    if run_id == "last":
        if not store.run_ids():
            raise UsageError(f"No runs in {records_folder(records)} yet.", do="Run one first.")
        run_id = store.run_ids()[-1]
    events = store.events(run_id)
    report(run_id, events, store, as_json=as_json)
    if budgets and not as_json:
        out().print(budget_table(results(events)))
    return exit_code(events)
