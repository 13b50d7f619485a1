"""`record list` and `show`."""

from __future__ import annotations

from typing import get_args

from rich.table import Table
from rich.text import Text

from ohmwright.engine.run import results
from ohmwright.model.errors import UsageError
from ohmwright.model.result import Verdict
from ohmwright.records.queries import CUT_SHORT, Filter, runs
from ohmwright.reports.text import printable

from .budgets import budget_table
from .console import out, print_json
from .open_records import meant, records_to_read
from .options import Narrowing
from .run_command import exit_code, report
from .run_words import STYLES


def wanted(narrowing: Narrowing) -> Filter:
    """Return the filter of the runs asked for. Raises UsageError for a verdict that is none."""
    known, verdict = (*get_args(Verdict), CUT_SHORT), narrowing.verdict
    if verdict is not None and verdict not in known:
        raise UsageError(
            f"There is no verdict '{verdict}'.", do=f"Give one of: {', '.join(known)}."
        )
    return Filter(narrowing.asset, narrowing.model, verdict, narrowing.since)


def list_runs(records: str | None, narrowed: Filter, *, as_json: bool) -> None:
    """One line a run, oldest first."""
    with records_to_read(records) as store:
        rows = runs(store.database, narrowed)
    if as_json:
        keys = ("asset", "model", "serial", "procedure", "operator", "at", "verdict")
        print_json(
            [
                {"run": row["run_id"], "simulated": bool(row["simulated"])}
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
        verdict = Text(row["verdict"], style=STYLES.get(row["verdict"], "dim"))
        cells = (Text(printable(row[key])) for key in ("run_id", "asset", "model", "procedure"))
        table.add_row(*cells, verdict)
    out().print(table if rows else "No runs like that.")


def show_run(run_id: str, records: str | None, *, as_json: bool, budgets: bool) -> int:
    """The tables of one run, with its uncertainty budgets where wanted; its own exit code."""
    with records_to_read(records) as store:
        run_id = meant(store, run_id)
        events = store.events(run_id)
        report(run_id, events, store, as_json=as_json)
    if budgets and not as_json:
        out().print(budget_table(results(events)))
    return exit_code(events)
