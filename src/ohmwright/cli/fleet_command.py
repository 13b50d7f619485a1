"""The commands `record fleet`, `trend` and `rebuild`: summaries over all runs on record."""

from __future__ import annotations

import shlex
from collections.abc import Collection, Sequence
from datetime import datetime
from difflib import get_close_matches
from itertools import groupby
from typing import Any

from rich.table import Table
from rich.text import Text
from sqlalchemy import Row

from ohmwright.model.errors import UsageError
from ohmwright.model.step import STAGES, Stage
from ohmwright.model.typed_command import typed_command
from ohmwright.records.qualified import Qualified, qualified_runs
from ohmwright.records.queries import fetch_rows, last_seen, pass_rates, relative_error, trend
from ohmwright.records.run_lists import UNFINISHED, refusals
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.summaries import rebuild_summary_tables
from ohmwright.reports.text import printable

from .console import out, print_json
from .list_marks import mark_of, print_marks
from .open_records import open_existing_records, open_records_for_reading
from .run_summary import VERDICT_STYLES
from .table_format import with_whole_words

_Rows = Sequence[Row[Any]]
_NEAREST = 3
_ERRORS = (
    "Mean error: of the values less their targets, in percent of the target (of a limit where that "
    "stands alone); sd: the standard deviation of one. Undecided and not measured count among the "
    "results, and not as passed."
)


def show_fleet(records: str | None, not_since: datetime | None, *, as_json: bool) -> None:
    """Print the newest run of each unit, and the pass rate of each point of each model.

    `not_since`: only units whose newest run began before this time.
    """
    with open_records_for_reading(records) as store:
        units = fetch_rows(store.database, last_seen(not_since))
        refused = _refused(store, units)
        marked = qualified_runs(store.database, [row.run for row in units])
        points, void = fetch_rows(store.database, pass_rates()), store.voided_run_ids()
    if as_json:
        said = {
            "units": [_unit(row, refused, marked) for row in units],
            "points": [_tally(p) for p in points],
        }
        print_json(said | {"void_runs_left_out": len(void)})
        return
    if units:
        out().print(with_whole_words(_units_table(units, refused, marked)))
    else:
        out().print("No units like that.")
    print_marks(marked)
    for model, of_model in groupby(points, key=lambda point: point.model):
        table = _tallies_table(list(of_model), ("step", "point", "stage"))
        table.title, table.title_justify = Text(printable(model)), "left"
        out().print("", with_whole_words(table))
    if points:
        out().print(Text(_ERRORS))
    _print_left_out(void)


def _print_left_out(void: frozenset[str]) -> None:
    """Print how many void runs the figures leave out; nothing where there are none."""
    if void:
        out().print(f"Left out: {len(void)} void run{'' if len(void) == 1 else 's'}.")


def show_trend(
    records: str | None, model: str, step: str, point: str, stage: str, *, as_json: bool
) -> None:
    """Print pass rate and mean error of one point over all units of a model, month by month.

    Raises UsageError, with the nearest names on record, where the point has no results.
    """
    wanted = (model, step, point, _stage(stage))
    with open_records_for_reading(records) as store:
        months = fetch_rows(store.database, trend(*wanted))
        if not months:
            raise _no_such_point(wanted, fetch_rows(store.database, pass_rates()))
        void = store.voided_run_ids()
    if as_json:
        print_json([_tally(month) for month in months])
        return
    table = _tallies_table(months, ("month",))
    table.title, table.title_justify = Text(printable(_trend_title(wanted))), "left"
    out().print(with_whole_words(table))
    out().print(Text(_ERRORS))
    _print_left_out(void)


def _trend_title(wanted: tuple[str, str, str, str]) -> str:
    """Return which point of which model is shown, and of which stage."""
    model, step, point, stage = wanted
    return f"{model}, {step} {point}, {stage.replace('_', ' ')}"


def _no_such_point(wanted: tuple[str, str, str, str], known: _Rows) -> UsageError:
    """Return the error for a point without results; `known`: the points that have some."""
    names = {_point_arguments(row.model, row.step, row.point, row.stage) for row in known}
    near = get_close_matches(_point_arguments(*wanted), sorted(names), n=_NEAREST, cutoff=0.0)
    return UsageError(
        f"No results of {_point_arguments(*wanted)}.",
        "\n".join(("The nearest on record:", *near)) if near else "",
        f"Write model, step and point as '{typed_command('record fleet')}' shows them.",
    )


def _point_arguments(model: str, step: str, point: str, stage: str) -> str:
    """Return the arguments of `record trend` for a point, as they are typed."""
    return printable(f"{shlex.join((model, step, point))} --stage {stage}")


def rebuild_summaries(records: str | None) -> None:
    """Recompute the summary tables from the results on record."""
    with open_existing_records(records) as store, store.database.write() as connection:
        rebuild_summary_tables(connection)
    out().print("The summaries are made anew; what is on record was not touched.")


def _stage(given: str) -> Stage:
    for stage in STAGES:
        if stage == given:
            return stage
    raise UsageError(f"There is no stage '{given}'.", do=f"Give one of: {', '.join(STAGES)}.")


def _refused(store: SqlStore, units: _Rows) -> Collection[str]:
    """Return those of the newest runs that were refused at their start."""
    rows = [
        {"number": r.run, "run_id": r.run_id, "asset": r.asset, "verdict": r.verdict or UNFINISHED}
        for r in units
    ]
    return refusals(store.database, rows)


def _unit(row: Row[Any], refused: Collection[str], marked: Qualified[int]) -> dict[str, object]:
    said = {key: getattr(row, key) for key in ("asset", "model", "serial", "at")}
    said |= {"run": row.run_id, "verdict": _ended(row, refused)} | marked.document(row.run)
    return said | {"simulated": bool(row.simulated)}


def _tally(row: Row[Any]) -> dict[str, object]:
    """JSON object of a summary row: counts, mean and standard deviation of the error in percent."""
    error = relative_error(row)
    said = {
        key: value for key, value in row._mapping.items() if not key.endswith(("_ppm", "_ppm2"))
    }
    return said | {
        "results": int(row.results),
        "passed": int(row.passed),
        "measured": int(row.measured),
        "simulated": bool(row.simulated),
        "mean_error_percent": None if error is None else error.mean,
        "sd_of_error_percent": None if error is None else error.sd,
    }


def _ended(row: Row[Any], refused: Collection[str]) -> str:
    """Return the verdict of a unit's newest run; `refused` as `record list` shows it."""
    return "refused" if row.run_id in refused else row.verdict or UNFINISHED


def _units_table(rows: _Rows, refused: Collection[str], marked: Qualified[int]) -> Table:
    table = Table("Unit", "Model", "Newest run", "Began", "Verdict", "", box=None, pad_edge=False)
    table.columns[2].no_wrap, table.columns[2].overflow = True, "fold"  # is copied, so never cut
    for row in rows:
        verdict: Any = _ended(row, refused)
        table.add_row(
            *(Text(printable(text)) for text in (row.asset, row.model, row.run_id, row.at[:10])),
            Text(f"{verdict}{mark_of(row.run, marked)}", style=VERDICT_STYLES.get(verdict, "dim")),
            Text("simulated" if row.simulated else "", style="dim"),
        )
    return table


def _tallies_table(rows: _Rows, keys: Sequence[str]) -> Table:
    table = Table(box=None, pad_edge=False)
    for key in keys:
        table.add_column(key.capitalize(), overflow="fold")
    for name in ("Results", "Passed", "Mean error", "sd"):
        table.add_column(name, justify="right")
    table.add_column()
    for row in rows:
        error = relative_error(row)
        table.add_row(
            *(Text(printable(getattr(row, key).replace("_", " "))) for key in keys),
            str(row.results),
            f"{100 * row.passed / row.results:.1f} %",
            "" if error is None else f"{error.mean:+.2f} %",
            "" if error is None or error.sd is None else f"{error.sd:.2f} %",
            Text("sim." if row.simulated else "", style="dim"),
        )
    return table
