"""A finished run as tables that a technician reads at a glance."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from rich.console import Group, RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright.model.event import Diagnosis, Event, Fault, PointDone, RunFinished, RunStarted
from ohmwright.model.procedure import MEASURED, Stage
from ohmwright.model.result import Result, Verdict

STYLES: dict[Verdict, str] = {
    "pass": "green",
    "fail": "bold red",
    "undecided": "bold yellow",
    "not measured": "dim",
}


def run_tables(events: Sequence[Event]) -> RenderableType:
    """Heading, measured points with as found beside as left, adjustments, and the verdict."""
    results = [event.result for event in events if isinstance(event, PointDone)]
    parts: list[RenderableType] = [*_heading(events)]
    measured = [result for result in results if result.stage != "adjust"]
    if measured:
        parts.append(_measured_table(measured))
    read = [event for event in events if isinstance(event, Diagnosis)]
    if read:
        parts += [_senses_table(read), _first_moves_table(read)]
    adjusted = [result for result in results if result.stage == "adjust"]
    if adjusted:
        parts.append(_adjusted_table(adjusted))
    return Group(*parts, *_reasons(results), *_ending(events))


def _heading(events: Iterable[Event]) -> Iterable[RenderableType]:
    for event in events:
        if isinstance(event, RunStarted):
            unit = event.asset
            yield Text(f"{event.procedure}, revision {event.revision}", style="bold")
            yield Text(f"Unit {unit.id}: {unit.maker} {unit.model}, serial {unit.serial}")
            yield Text(f"Analyzer {event.analyzer}")
            if event.seed is not None:
                yield Text(f"SIMULATED, seed {event.seed}: no evidence about any real unit")


def _measured_table(results: Sequence[Result]) -> Table:
    table = _table("Measured", "Step and point", "Limits")
    found = {result.stage for result in results}
    stages: list[Stage] = [stage for stage in MEASURED if stage in found]
    for stage in stages:
        name = stage.replace("_", " ").capitalize()
        table.add_column(name, justify="right", no_wrap=True)
        table.add_column("Error %", justify="right", no_wrap=True)
        table.add_column("")
    last = ""
    for step, point in dict.fromkeys((r.step, r.point) for r in results):
        if step != last:
            table.add_row(Text(step, style="bold"))
            last = step
        row = {r.stage: r for r in results if (r.step, r.point) == (step, point)}
        limits = _limits(next(iter(row.values())))
        outcomes = (cell for stage in stages for cell in _outcome(row.get(stage)))
        table.add_row(f"  {point}", limits, *outcomes)
    return table


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


def _adjusted_table(results: Sequence[Result]) -> Table:
    table = _table("Adjusted", "Point", "Load", "Limits")
    for name in ("Trim", "Landed at", "Error %"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("")
    for result in results:
        table.add_row(
            result.point,
            "" if result.load_ohm is None else f"{result.load_ohm:g} ohm",
            _limits(result),
            f"{result.start_trim} to {result.final_trim}",
            *_outcome(result),
        )
    return table


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


def _limits(result: Result) -> str:
    target = result.target
    if target is None:
        return ""
    if target.lower < 0:
        return f"at most {target.upper:g} {target.unit}"
    return f"{target.lower:.4g} to {target.upper:.4g} {target.unit}"


def _outcome(result: Result | None) -> tuple[str, str, Text]:
    """Reading, error in percent, verdict."""
    if result is None:
        return "", "", Text()
    verdict = Text(result.verdict.upper(), style=STYLES[result.verdict])
    measured, target, error = result.measured, result.target, result.error
    if measured is None or target is None or error is None:
        return "" if result.load_ohm is None else f"{result.load_ohm:g} ohm", "", verdict
    relative = "" if target.lower < 0 else f"{100 * error / target.value:+.1f}"
    return f"{measured.value:.1f}", relative, verdict


def _reasons(results: Iterable[Result]) -> Iterable[Text]:
    """Why each point that did not pass did not."""
    for result in results:
        if result.verdict != "pass" and result.reason:
            where = f"{result.stage.replace('_', ' ')}, {result.step} {result.point}"
            yield Text(f"{where}: {result.reason}", style=STYLES[result.verdict])


def _ending(events: Sequence[Event]) -> Iterable[RenderableType]:
    last = events[-1] if events else None
    if isinstance(last, RunFinished):
        minutes = last.bench_time_s / 60
        text = Text("Result: ").append(last.verdict.upper(), style=STYLES[last.verdict])
        yield text.append(f"   ({minutes:.1f} min at the bench, RF on for {last.on_s:.0f} s)")
    elif isinstance(last, Fault):
        yield Text(f"Cut short: {last.message}", style="bold red")
