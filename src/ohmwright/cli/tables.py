"""A finished run as tables that a technician reads at a glance."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from functools import partial
from math import floor, log10
from typing import NamedTuple

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright.model.event import Diagnosis, Event, Fault, RunFinished, RunStarted
from ohmwright.model.procedure import MEASURED, Stage
from ohmwright.model.result import AMPLE_DOF, Measured, Result, Verdict, latest
from ohmwright.model.tolerance import UNITS
from ohmwright.reports.conditions import UNTOLD, Conditions, common, conditions_of
from ohmwright.reports.facts import interruptions
from ohmwright.reports.parts import Part, parts_of, totals
from ohmwright.reports.remarks import remarks_of
from ohmwright.reports.resting_on import Basis, Marks, letter, marks_of
from ohmwright.reports.text import UNKNOWN

from .console import out

STYLES: dict[Verdict, str] = {
    "pass": "green",
    "fail": "bold red",
    "undecided": "bold yellow",
    "not measured": "dim",
}


def run_tables(events: Sequence[Event]) -> RenderableType:
    """Heading, measured points with as found beside as left, adjustments, and the verdict."""
    sittings = parts_of(events)
    results = latest(result for sitting in sittings for result in sitting.results)
    marks = marks_of(sittings)
    parts: list[RenderableType] = [*_heading(events), *_traceability(marks.bases), *_told(results)]
    measured = [result for result in results if result.stage != "adjust"]
    if measured:
        parts.append(_widest_that_fits(partial(_measured_table, measured, marks)))
    read = [event for event in events if isinstance(event, Diagnosis)]
    if read:
        parts += [_senses_table(read), _first_moves_table(read)]
    adjusted = [result for result in results if result.stage == "adjust"]
    if adjusted:
        parts.append(_widest_that_fits(partial(_adjusted_table, adjusted, marks)))
        parts += _told(adjusted)
    remarks = (Text(remark, style="dim") for remark in remarks_of(events))
    told = (*_reasons(results), *_rules(results), *_protections(sittings))
    told += (*_interruptions(sittings), *remarks)
    return Group(*parts, *told, *_ending(events))


def _heading(events: Iterable[Event]) -> Iterable[RenderableType]:
    for event in events:
        if isinstance(event, RunStarted):
            unit = event.asset
            yield Text(f"{event.procedure}, revision {event.revision}", style="bold")
            yield Text(f"Unit {unit.id}: {unit.maker} {unit.model}, serial {unit.serial}")
            yield Text(f"Analyzer {event.analyzer}")
            if event.seed is not None:
                yield Text(f"SIMULATED, seed {event.seed}: no evidence about any real unit")


def _traceability(bases: Sequence[Basis]) -> Iterable[Text]:
    """What the values rest on: first most of them, then those with a letter beside them."""
    for place, basis in enumerate(bases):
        if place > 0 and basis == "none":
            yield Text(f"{letter(place)}: no analyzer certificate is part of U", style="yellow")
        else:
            yield Text(f"{letter(place)}: " if place > 0 else "").append(_basis(basis))


def _told(results: Iterable[Result]) -> Iterable[Text]:
    """Whose word it is that mode and setting were chosen, where nothing could read them."""
    names = dict.fromkeys(r.setting_told_by for r in results if r.setting_told_by)
    if names:
        yield Text(f"Mode and setting as told by {', '.join(names)}")


def _basis(basis: Basis) -> Text:
    if basis == "none":
        text = "NO ANALYZER CERTIFICATE: uncertainties are of the readings alone"
        return Text(text, style="bold yellow")
    if basis is None:
        return Text("Traceability is not recorded", style="bold yellow")
    said = f"Certificate {basis.certificate}, {basis.laboratory}, due {basis.due_on}"
    return Text(f"{said}: EXPIRED", style="bold red") if basis.expired else Text(said)


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


def _measured_table(results: Sequence[Result], marks: Marks, columns: Columns) -> Table:
    table = _table("Measured", "Step and point", "Limits")
    found = {result.stage for result in results}
    stages: list[Stage] = [stage for stage in MEASURED if stage in found]
    for stage in stages:
        _outcome_columns(table, stage.replace("_", " ").capitalize(), columns)
    _conformity_columns(table, columns)
    last = ""
    for step, point in dict.fromkeys((r.step, r.point) for r in results):
        if step != last:
            shared = common([conditions_of(r) for r in results if r.step == step])
            table.add_row(Text(step, style="bold"), *_conditions(shared))
            last = step
        row = {r.stage: r for r in results if (r.step, r.point) == (step, point)}
        newest = row[max(row, key=MEASURED.index)]
        name = _named(newest, conditions_of(newest).without(shared))
        outcomes = (cell for stage in stages for cell in _outcome(row.get(stage), marks, columns))
        table.add_row(f"  {name}", _limits(newest), *outcomes, *_conformity(newest, columns))
    return table


def _conditions(shared: Conditions) -> tuple[Text, Text]:
    """How all points of a step were measured, for the columns of limits and of the first value."""
    mode = UNKNOWN if shared.mode == UNTOLD else shared.mode
    set_to = ", ".join(filter(None, (mode, shared.setting)))
    path = shared.path.removeprefix("path ")
    joined = " ".join(filter(None, (shared.load, "" if path == "OUTPUT" else path)))
    return Text(set_to, style="dim"), Text(joined, style="dim")


def _named(result: Result, apart: Conditions) -> str:
    """The name of a point, and what its step does not say of it where its name does not either."""
    said = (apart.mode, apart.setting, apart.load.replace("Ω", "ohm"))
    return ", ".join((result.point, *(words for words in said if words not in result.point)))


def _senses_table(read: Sequence[Diagnosis]) -> Table:
    """What the as-found curves say of the sense gains: by how much each is off, and how surely."""
    table = _table("Diagnosed from the curves as found", "Mode", "Sense gain")
    for name in ("Off %", "± (k=2)"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for event in read:
        for gain in event.gains:
            drifted = Text("DRIFTED", style="bold yellow") if gain.drifted > 0.5 else Text("")
            off, spread = 100 * (gain.gain - 1), 200 * gain.uncertainty
            table.add_row(event.mode, gain.sense, f"{off:+.1f}", f"{spread:.1f}", drifted)
    return table


def _first_moves_table(read: Sequence[Diagnosis]) -> Table:
    """What each adjustment starts from; the counts to try first where earlier units taught them."""
    moves = [move for event in read for move in event.first_moves]
    taught = any(move.counts is not None for move in moves)
    table = _table("Expected at the adjustment points", "Point")
    for name in ("Current off %", "± (k=2)", *(["First counts"] if taught else [])):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for move in moves:
        wanted = move.worthwhile and move.counts is not None
        counts = [f"{move.counts:+d}" if wanted else ""] if taught else []
        judged = "adjust" if move.worthwhile else "likely good"
        off, spread = 100 * move.off, 200 * move.uncertainty
        table.add_row(move.point, f"{off:+.1f}", f"{spread:.1f}", *counts, judged)
    return table


def _adjusted_table(results: Sequence[Result], marks: Marks, columns: Columns) -> Table:
    table = _table("Adjusted", "Point", "Load", "Limits")
    table.add_column("Trim", justify="right", no_wrap=True)
    _outcome_columns(table, "Landed at", columns)
    _conformity_columns(table, columns)
    for result in results:
        table.add_row(
            _named(result, conditions_of(result)._replace(load="", setting="")),
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


def _told(results: Iterable[Result]) -> Iterable[Text]:
    """Whose word the marked trims are."""
    names = dict.fromkeys(r.trim_told_by for r in results if r.trim_told_by is not None)
    if names:
        yield Text(f"* presses as told by {', '.join(names)}; not read from the unit", style="dim")


def _table(title: str, *columns: str) -> Table:
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
        return "" if quantity is None else f"({UNITS[quantity]})"
    if target.one_sided:
        return f"at most {target.upper:.4g} {target.unit}".rstrip()
    return f"{target.lower:.4g} to {target.upper:.4g} {target.unit}".rstrip()


def _outcome(result: Result | None, marks: Marks, columns: Columns) -> tuple[str | Text, ...]:
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


def budget_table(results: Iterable[Result]) -> Table:
    """Every line of every budget, in the unit of its value."""
    table = _table("Uncertainty budgets", "Step, point and line", "Type")
    for name in ("u", "dof", "%"):
        table.add_column(name, justify="right", no_wrap=True)
    for result in results:
        measured = result.measured
        if measured is None or not measured.budget:
            continue
        where = f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
        table.add_row(Text(f"{where}: {with_uncertainty(measured)}", style="bold"))
        for line in measured.budget:
            share = (line.standard_uncertainty / measured.uncertainty) ** 2
            table.add_row(
                f"  {line.source}",
                line.evaluation,
                f"{line.standard_uncertainty:.3g}",
                "inf" if line.dof is None else f"{line.dof:.1f}",
                f"{100 * share:.1f}",
            )
        table.add_row(
            f"  combined ({measured.propagation}), k = {measured.coverage_factor or 0:.2f}",
            "",
            f"{measured.uncertainty:.3g}",
            f"{measured.dof:.1f}" if measured.dof < AMPLE_DOF else "inf",
            "100" if measured.correlation is None else f"r = {measured.correlation:g}",
        )
    return table


def _reasons(results: Iterable[Result]) -> Iterable[Text]:
    """Why each point that did not pass did not."""
    for result in results:
        if result.verdict != "pass" and result.reason:
            where = f"{result.stage.replace('_', ' ')}, {result.step} {result.point}"
            yield Text(f"{where}: {result.reason}", style=STYLES[result.verdict])


def _protections(sittings: Sequence[Part]) -> Iterable[Text]:
    """What the bench lacked; papers name what it had, too."""
    known = [sitting.protections for sitting in sittings if sitting.protections is not None]
    lacking = dict.fromkeys(words for one in known for words, there in one.words() if not there)
    if lacking:
        yield Text(f"Protections that the bench lacked: {'; '.join(lacking)}.", style="dim")


def _interruptions(sittings: Sequence[Part]) -> Iterable[Text]:
    for line in interruptions(sittings):
        yield Text(line, style="yellow")


def _rules(results: Iterable[Result]) -> Iterable[Text]:
    """How values were held against their limits."""
    rules = dict.fromkeys(r.conformity.rule for r in results if r.conformity is not None)
    if rules:
        yield Text(f"± is U, of about 95 % coverage. Decided by: {'; '.join(rules)}.", style="dim")


def _ending(events: Sequence[Event]) -> Iterable[RenderableType]:
    last = events[-1] if events else None
    if isinstance(last, RunFinished):
        on_s, bench_time_s = totals(events)
        text = Text("Result: ").append(last.verdict.upper(), style=STYLES[last.verdict])
        yield text.append(f"   ({bench_time_s / 60:.1f} min at the bench, RF on for {on_s:.0f} s)")
    elif isinstance(last, Fault):
        yield Text(f"Cut short: {last.message}", style="bold red")
    elif last is not None:
        yield Text("Not finished: the record ends here", style="bold yellow")
