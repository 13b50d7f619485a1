"""The tables of a run: measured points, diagnosis, adjustments."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from typing import NamedTuple

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright.model.event import Event
from ohmwright.model.quantity import unit_of
from ohmwright.model.result import Result, latest
from ohmwright.model.run_diagnoses import newest_diagnoses
from ohmwright.model.step import MEASURED, Stage
from ohmwright.reports.measuring_conditions import (
    CONDITIONS_NOT_RECORDED,
    TOLD_TRIM,
    MeasuringConditions,
    conditions_of_result,
    shared_conditions,
    trim_text,
    trims_told_text,
)
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.reports.text import (
    NOT_RECORDED,
    limits_words,
    printable,
    probability_text,
    uncertainty_ratio_text,
)
from ohmwright.reports.traceability_marks import OF_A_PART, ValueMarks, value_marks
from ohmwright.reports.verdict_grounds import is_by_readings_alone

from .diagnosis_tables import diagnosis_tables
from .run_summary import VERDICT_STYLES, footer_lines, header_lines
from .table_format import (
    as_it_fits,
    fits,
    one_below_another,
    plain_table,
    value_with_uncertainty,
)


def run_tables(events: Sequence[Event]) -> RenderableType:
    """Return all that is printed of a run, as wide as standard output.

    In this order: header, points measured (as found beside as left), diagnosis, adjustments, notes
    and verdict.
    """
    parts = parts_of_run(events)
    results = latest(result for part in parts for result in part.results)
    marks = value_marks(parts)
    blocks: list[RenderableType] = [*header_lines(events, results, marks)]
    measured = [result for result in results if result.stage != "adjust"]
    if measured:
        blocks.append(_widest_that_fits(partial(_measured_table, measured, marks)))
    blocks += map(as_it_fits, diagnosis_tables(newest_diagnoses(events)))
    adjusted = [result for result in results if result.stage == "adjust"]
    if adjusted:
        blocks.append(_widest_that_fits(partial(_adjusted_table, adjusted, marks)))
        blocks += _trims_told_by(adjusted)
    if marks.figures:
        blocks.append(Text(OF_A_PART, style="dim"))
    return Group(*blocks, *footer_lines(events, results, parts))


class Columns(NamedTuple):
    """Which optional columns a table has, beside value, uncertainty and verdict."""

    error: bool
    conformity: bool


_VARIANTS = tuple(
    Columns(*chosen) for chosen in ((True, True), (False, True), (True, False), (False, False))
)
"""In order of preference; the first that fits the width of the terminal is used."""


def _widest_that_fits(build: Callable[[Columns], Table]) -> RenderableType:
    """Return the first of the tables with `_VARIANTS` that fits the terminal.

    Where none does, cells one below another, each verdict beside its value: nothing is cut.
    """
    table = next(filter(fits, map(build, _VARIANTS)), None)
    if table is not None:
        return table
    return one_below_another(build(Columns(error=False, conformity=True)))


def _measured_table(results: Sequence[Result], marks: ValueMarks, columns: Columns) -> Table:
    table = plain_table("Measured", "Step and point", "Limits")
    found = {result.stage for result in results}
    stages: list[Stage] = [stage for stage in MEASURED if stage in found]
    for stage in stages:
        _outcome_columns(table, stage.replace("_", " ").capitalize(), columns)
    _conformity_columns(table, columns)
    last = ""
    for step, point in dict.fromkeys((r.step, r.point) for r in results):
        if step != last:
            of_step = [r for r in results if r.step == step]
            shared = shared_conditions(list(map(conditions_of_result, of_step)))
            named = all(_in_words(shared.load) in r.point for r in of_step)
            heading = shared._replace(load="") if named else shared
            table.add_row(Text(printable(step), style="bold"), *_conditions(heading))
            last = step
        row = {r.stage: r for r in results if (r.step, r.point) == (step, point)}
        newest = row[max(row, key=MEASURED.index)]
        name = _point_label(newest, conditions_of_result(newest).without(shared))
        outcomes = (cell for stage in stages for cell in _outcome(row.get(stage), marks, columns))
        table.add_row(f"  {name}", _limits(newest), *outcomes, *_conformity(newest, columns))
    return table


def _conditions(shared: MeasuringConditions) -> tuple[Text, Text]:
    """Return two cells, mode and setting, and load and path, that all points of a step share."""
    mode = NOT_RECORDED if shared.mode == CONDITIONS_NOT_RECORDED else shared.mode
    set_to = ", ".join(filter(None, (mode, shared.setting)))
    path = shared.path.removeprefix("path ")
    is_output = path in ("", "OUTPUT")
    # beside a path, the load keeps its Ω: with "ohm" both are too wide for 80 columns
    load = _in_words(shared.load) if is_output else f"{shared.load} {path}".lstrip()
    return Text(set_to, style="dim"), Text(load, style="dim")


def _in_words(load: str) -> str:
    """Return a load as points are named on the screen: terminals differ in what they can show."""
    return load.replace("Ω", "ohm")


def _point_label(result: Result, apart: MeasuringConditions) -> str:
    """Return the label of a point: its name, then conditions that neither it nor its step names.

    `apart`: the conditions that differ from those which the points of the step share.
    """
    said = (apart.mode, apart.setting, _in_words(apart.load))
    words = (result.point, *(one for one in said if one not in result.point))
    return printable(", ".join(words))


def _adjusted_table(results: Sequence[Result], marks: ValueMarks, columns: Columns) -> Table:
    table = plain_table("Adjusted", "Point", "Load", "Limits")
    table.add_column("Trim", justify="right", no_wrap=True)
    _outcome_columns(table, "Landed at", columns)
    _conformity_columns(table, columns)
    for result in results:
        table.add_row(
            _point_label(result, conditions_of_result(result)._replace(load="", setting="")),
            "" if result.load_ohm is None else f"{result.load_ohm:g} ohm",
            _limits(result),
            f"{trim_text(result)}{_trim_mark(result)}",
            *_outcome(result, marks, columns),
            *_conformity(result, columns),
        )
    return table


def _trim_mark(result: Result) -> str:
    return TOLD_TRIM if trim_text(result) and result.trim_told_by is not None else ""


def _trims_told_by(results: Iterable[Result]) -> Iterable[Text]:
    """Return the footnote of trims marked with *: whose word they are."""
    if said := trims_told_text(results):
        yield Text(f"{TOLD_TRIM} {said}", style="dim")


def _outcome_columns(table: Table, name: str, columns: Columns) -> None:
    table.add_column(name, justify="right", no_wrap=True)
    if columns.error:
        table.add_column("Error %", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)


def _conformity_columns(table: Table, columns: Columns) -> None:
    """Add test uncertainty ratio and probability of conformity in percent, where wanted."""
    if columns.conformity:
        table.add_column("TUR", justify="right", no_wrap=True)
        table.add_column("P %", justify="right", no_wrap=True)


def _limits(result: Result) -> str:
    """Return the tolerance limits with their unit; without a target the unit alone."""
    target = result.target
    if target is None:
        quantity = None if result.measured is None else result.measured.quantity
        return "" if quantity is None else f"({unit_of(quantity).symbol})"
    return limits_words(target)


def _outcome(result: Result | None, marks: ValueMarks, columns: Columns) -> tuple[str | Text, ...]:
    """Return the cells value with expanded uncertainty, error in percent (optional), verdict."""
    value, error, verdict = "", "", Text()
    if result is not None:
        if not result.asks_nothing:
            verdict = Text(result.verdict.upper(), style=VERDICT_STYLES[result.verdict])
        value = "" if result.measured is None else value_with_uncertainty(result.measured)
        value = printable(result.shown) if result.shown else value
        value = f"{value} {_mark(result, marks)}".strip()
        comparable = result.target is not None and not result.target.one_sided and not result.said
        if result.error is not None and result.target is not None and comparable:
            error = f"{100 * result.error / result.target.value:+z.1f}"
    return (value, error, verdict) if columns.error else (value, verdict)


def _mark(result: Result, marks: ValueMarks) -> str:
    """Return the letter of a value, and its part of the run in brackets: it is no figure of it."""
    part = marks.part_of(result)
    return marks.letter_of(result) + (f"[{part}]" if part else "")


def _conformity(result: Result, columns: Columns) -> tuple[str, ...]:
    if not columns.conformity:
        return ()
    conformity = None if is_by_readings_alone(result) else result.conformity
    if conformity is None:
        return "", ""
    return uncertainty_ratio_text(conformity), probability_text(conformity).replace(" ", "")
