"""The commands `record list` and `record show`."""

from __future__ import annotations

from typing import get_args

from rich.table import Table
from rich.text import Text

from ohmwright.api.open_records import resolved_run_id
from ohmwright.engine.run import results
from ohmwright.model.errors import UsageError
from ohmwright.model.result import Verdict
from ohmwright.records.queries import CUT_SHORT, Filter, runs
from ohmwright.reports.text import printable

from .budget_table import budget_table
from .console import out, print_json
from .open_records import open_records_for_reading
from .options import RunFilterOptions
from .run_report import exit_code, print_run
from .run_summary import VERDICT_STYLES


def run_filter(options: RunFilterOptions) -> Filter:
    """Return the filter of runs that the options select. Raises UsageError for a wrong verdict."""
    known, verdict = (*get_args(Verdict), CUT_SHORT), options.verdict
    if verdict is not None and verdict not in known:
        raise UsageError(
            f"There is no verdict '{verdict}'.", do=f"Give one of: {', '.join(known)}."
        )
    return Filter(options.asset, options.model, verdict, options.since)


def list_runs(records: str | None, selected: Filter, *, as_json: bool) -> None:
    """Print one line for each run that `selected` lets through, oldest first."""
    with open_records_for_reading(records) as store:
        rows = runs(store.database, selected)
    if as_json:
        keys = ("asset", "model", "serial", "procedure", "operator", "at", "verdict")
        print_json(
            [
                {"run": row["run_id"], "simulated": bool(row["simulated"]), "void": row["voided"]}
                | {key: row[key] for key in keys}
                for row in rows
            ]
        )
        return
    table = Table(box=None, pad_edge=False)
    table.add_column("Run", no_wrap=True, overflow="fold")  # is copied, so never cut
    for name in ("Unit", "Model", "Procedure", "Verdict"):
        table.add_column(name)
    for row in rows:
        verdict = Text(row["verdict"], style=VERDICT_STYLES.get(row["verdict"], "dim"))
        if row["voided"]:
            verdict = Text(f"void ({row['verdict']})", style="bold")
        cells = (Text(printable(row[key])) for key in ("run_id", "asset", "model", "procedure"))
        table.add_row(*cells, verdict)
    out().print(table if rows else "No runs like that.")


def show_run(run_id: str, records: str | None, *, as_json: bool, budgets: bool) -> int:
    """Print the tables of one run, optionally its uncertainty budgets; return its exit code."""
    with open_records_for_reading(records) as store:
        run_id = resolved_run_id(store, run_id)
        events, addenda = store.events(run_id), store.stored_run(run_id).addenda
        print_run(run_id, events, store, as_json=as_json, addenda=addenda)
    if budgets and not as_json:
        out().print(budget_table(results(events)))
    return exit_code(events)
