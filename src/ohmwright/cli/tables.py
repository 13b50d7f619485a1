"""A finished run as tables that a technician reads at a glance."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from math import floor, log10
from typing import NamedTuple

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright.model.event import CurveDiagnosed, Event
from ohmwright.model.quantity import unit_of
from ohmwright.model.result import Measured, Result, latest
from ohmwright.model.step import MEASURED, Stage
from ohmwright.reports.measuring_conditions import (
    CONDITIONS_NOT_RECORDED,
    MeasuringConditions,
    conditions_of_result,
    shared_conditions,
)
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.reports.text import NOT_RECORDED, printable
from ohmwright.reports.traceability_marks import ValueMarks, value_marks

from .console import out
from .run_words import STYLES, said_above, said_below


def run_tables(events: Sequence[Event]) -> RenderableType:
    """Heading, measured points with as found beside as left, adjustments, and the verdict."""
    sittings = parts_of_run(events)
    results = latest(result for sitting in sittings for result in sitting.results)
    marks = value_marks(sittings)
    parts: list[RenderableType] = [*said_above(events, results, marks)]
    measured = [result for result in results if result.stage != "adjust"]
    if measured:
        parts.append(_widest_that_fits(partial(_measured_table, measured, marks)))
    read = [event for event in events if isinstance(event, CurveDiagnosed)]
    if read:
        parts += [_senses_table(read), _first_moves_table(read)]
    adjusted = [result for result in results if result.stage == "adjust"]
    if adjusted:
        parts.append(_widest_that_fits(partial(_adjusted_table, adjusted, marks)))
        parts += _trims_told_by(adjusted)
    return Group(*parts, *said_below(events, results, sittings))


class Columns(NamedTuple):
    """What a table shows beside value, uncertainty and verdict."""

    error: bool
    conformity: bool


_VARIANTS = (Columns(True, True), Columns(False, True), Columns(True, False), Columns(False, False))
"""In order of preference; the first that the terminal is wide enough for is taken."""


def _widest_that_fits(build: Callable[[Columns], Table]) -> Table:
    console = out()
    unbounded = console.options.update(max_width=1000)
    tables = [build(columns) for columns in _VARIANTS]
    wanted = [console.measure(table, options=unbounded).maximum for table in tables]
    fitting = (t for t, width in zip(tables, wanted, strict=True) if width <= console.width)
    return next(fitting, tables[-1])


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
            shared = shared_conditions([conditions_of_result(r) for r in results if r.step == step])
            table.add_row(Text(printable(step), style="bold"), *_conditions(shared))
            last = step
        row = {r.stage: r for r in results if (r.step, r.point) == (step, point)}
        newest = row[max(row, key=MEASURED.index)]
        name = _named(newest, conditions_of_result(newest).without(shared))
        outcomes = (cell for stage in stages for cell in _outcome(row.get(stage), marks, columns))
        table.add_row(f"  {name}", _limits(newest), *outcomes, *_conformity(newest, columns))
    return table


def _conditions(shared: MeasuringConditions) -> tuple[Text, Text]:
    """How all points of a step were measured, for the columns of limits and of the first value."""
    mode = NOT_RECORDED if shared.mode == CONDITIONS_NOT_RECORDED else shared.mode
    set_to = ", ".join(filter(None, (mode, shared.setting)))
    path = shared.path.removeprefix("path ")
    joined = " ".join(filter(None, (shared.load, "" if path == "OUTPUT" else path)))
    return Text(set_to, style="dim"), Text(joined, style="dim")


def _named(result: Result, apart: MeasuringConditions) -> str:
    """The name of a point, and what its step does not say of it where its name does not either."""
    said = (apart.mode, apart.setting, apart.load.replace("Ω", "ohm"))
    words = (result.point, *(one for one in said if one not in result.point))
    return printable(", ".join(words))


def _senses_table(read: Sequence[CurveDiagnosed]) -> Table:
    """What the as-found curves say of the sense gains: by how much each is off, and how surely."""
    table = plain_table("Diagnosed from the curves as found", "Mode", "Sense gain")
    for name in ("Off %", "± (k=2)"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for event in read:
        for gain in event.gains:
            drifted = Text("DRIFTED", style="bold yellow") if gain.drifted > 0.5 else Text("")
            off, spread = 100 * (gain.gain - 1), 200 * gain.uncertainty
            table.add_row(
                printable(event.mode), gain.sense, f"{off:+.1f}", f"{spread:.1f}", drifted
            )
    return table


def _first_moves_table(read: Sequence[CurveDiagnosed]) -> Table:
    """What each adjustment starts from; the counts to try first where earlier units taught them."""
    moves = [move for event in read for move in event.first_moves]
    taught = any(move.counts is not None for move in moves)
    table = plain_table("Expected at the adjustment points", "Point")
    for name in ("Current off %", "± (k=2)", *(["First counts"] if taught else [])):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for move in moves:
        wanted = move.worthwhile and move.counts is not None
        counts = [f"{move.counts:+d}" if wanted else ""] if taught else []
        judged = "adjust" if move.worthwhile else "likely good"
        off, spread = 100 * move.off, 200 * move.uncertainty
        table.add_row(printable(move.point), f"{off:+.1f}", f"{spread:.1f}", *counts, judged)
    return table


def _adjusted_table(results: Sequence[Result], marks: ValueMarks, columns: Columns) -> Table:
    table = plain_table("Adjusted", "Point", "Load", "Limits")
    table.add_column("Trim", justify="right", no_wrap=True)
    _outcome_columns(table, "Landed at", columns)
    _conformity_columns(table, columns)
    for result in results:
        table.add_row(
            _named(result, conditions_of_result(result)._replace(load="", setting="")),
            "" if result.load_ohm is None else f"{result.load_ohm:g} ohm",
            _limits(result),
            _trims(result),
            *_outcome(result, marks, columns),
            *_conformity(result, columns),
        )
    return table


def _trims(result: Result) -> str:
    if result.start_trim is None or result.final_trim is None:
        return ""
    mark = "" if result.trim_told_by is None else "*"
    return f"{result.start_trim} to {result.final_trim}{mark}"


def _trims_told_by(results: Iterable[Result]) -> Iterable[Text]:
    """Whose word the marked trims are."""
    names = dict.fromkeys(r.trim_told_by for r in results if r.trim_told_by is not None)
    if names:
        said = f"* presses as told by {', '.join(names)}; not read from the unit"
        yield Text(printable(said), style="dim")


def plain_table(title: str, *columns: str) -> Table:
    """A table without lines."""
    table = Table(
        title=title,
        title_justify="left",
        title_style="bold",
        box=None,
        pad_edge=False,
        padding=(0, 1, 0, 0),
    )
    for name in columns:
        table.add_column(name, no_wrap=True)
    return table


def _outcome_columns(table: Table, name: str, columns: Columns) -> None:
    table.add_column(name, justify="right", no_wrap=True)
    if columns.error:
        table.add_column("Error %", justify="right", no_wrap=True)
    table.add_column("", no_wrap=True)


def _conformity_columns(table: Table, columns: Columns) -> None:
    """Test uncertainty ratio and probability of conformity in percent."""
    if columns.conformity:
        table.add_column("TUR", justify="right", no_wrap=True)
        table.add_column("P %", justify="right", no_wrap=True)


def _limits(result: Result) -> str:
    target = result.target
    if target is None:
        quantity = None if result.measured is None else result.measured.quantity
        return "" if quantity is None else f"({unit_of(quantity).symbol})"
    if target.one_sided:
        return f"at most {target.upper:.4g} {target.unit}".rstrip()
    return f"{target.lower:.4g} to {target.upper:.4g} {target.unit}".rstrip()


def _outcome(result: Result | None, marks: ValueMarks, columns: Columns) -> tuple[str | Text, ...]:
    """Reading with its expanded uncertainty, error in percent, verdict."""
    value, error, verdict = "", "", Text()
    if result is not None:
        verdict = Text(result.verdict.upper(), style=STYLES[result.verdict])
        value = "" if result.measured is None else with_uncertainty(result.measured)
        value = f"{value} {marks.of(result)}".strip()
        if result.error is not None and result.target is not None and not result.target.one_sided:
            error = f"{100 * result.error / result.target.value:+.1f}"
    return (value, error, verdict) if columns.error else (value, verdict)


def _conformity(result: Result, columns: Columns) -> tuple[str, ...]:
    if not columns.conformity:
        return ()
    held = result.conformity
    if held is None:
        return "", ""
    ratio, percent = held.uncertainty_ratio, 100 * held.probability
    return (
        "" if ratio is None else f"{ratio:.1f}" if ratio < 9.95 else f"{ratio:.0f}",
        f"{percent:.1f}" if percent < 99.95 else "100",
    )


def with_uncertainty(measured: Measured) -> str:
    """Value and expanded uncertainty, this to two digits and both to the same place (GUM 7.2.6)."""
    expanded = measured.expanded
    if expanded is None or expanded <= 0:
        return f"{measured.value:.1f}"
    places = max(0, 1 - floor(log10(expanded)))
    return f"{measured.value:.{places}f} ± {expanded:.{places}f}"
