"""What the command `rehearse` prints: shares with limits, times and heat, steps, points."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import RenderableType
from rich.table import Table
from rich.text import Text

from ohmwright.rehearsal.comparison import PairedDifference
from ohmwright.rehearsal.rehearse import Rehearsal
from ohmwright.rehearsal.summary import BoundedShare, Summary, UnitSpread
from ohmwright.reports.text import counted, printable

from .table_format import plain_table

_ROWS = 8
"""Steps and points that are shown, the costliest and the hardest."""
_NAMES = {
    "bench_s": ("bench time, min", 1 / 60),
    "on_s": ("RF on, min", 1 / 60),
    "load_heat": ("load bank's heat", 1.0),
    "generator_warmth": ("generator's warmth", 1.0),
}


def summary_tables(rehearsal: Rehearsal, name: str) -> Iterator[RenderableType]:
    """Yield what is printed of one rehearsal, in its order; `name`: of its procedure."""
    figures = rehearsal.summary
    units = counted(figures.units, "invented unit")
    yield Text(f"Rehearsal of {printable(name)}: {units}, SIMULATED", style="bold")
    if figures.units < figures.wanted:
        yield Text(_stopped(figures))
    yield _shares(figures)
    yield _spreads(figures)
    yield _steps(figures)
    yield _points(figures)
    yield from _notes(rehearsal, figures)


def _stopped(figures: Summary) -> str:
    """Return what was not run, and how to have it run."""
    wanted = figures.wanted
    return (
        f"Stopped: {wanted - figures.units} of {wanted} units not run. Outcomes are kept nowhere: "
        f"the same command runs all {wanted} units, from the first one on."
    )


def comparison_table(differences: Sequence[PairedDifference]) -> Table:
    """Return the differences of two procedures on the same units."""
    title = "Second procedure less first, same units"
    table = plain_table(title, "", "First", "Second", "Difference", "95 % limits", "Units to tell")
    for one in differences:
        name, scale = _NAMES.get(one.name, (f"{one.name}, % of units", 100.0))
        limits = "not known"
        if one.lower is not None and one.upper is not None:
            limits = f"{scale * one.lower:+.2f} to {scale * one.upper:+.2f}"
        table.add_row(
            name,
            *(f"{scale * value:.2f}" for value in (one.first, one.second)),
            f"{scale * one.difference:+.2f}",
            limits,
            "enough" if one.clear else f"{one.units_to_tell or 'not known'}",
        )
    return table


def _shares(figures: Summary) -> Table:
    table = plain_table("Verdicts", "", "Count", "Of", "Share", "95 % limits")
    units = [
        *((f"units: {verdict}", share) for verdict, share in figures.verdicts.items()),
        ("units: false accept", figures.false_accept),
        ("units: false reject", figures.false_reject),
        ("points: false accept", figures.point_false_accept),
        ("points: false reject", figures.point_false_reject),
        ("points: undecided", figures.point_undecided),
        ("values: truth within U", figures.covered),
    ]
    for name, share in units:
        table.add_row(name, str(share.count), str(share.of), *_share(share))
    return table


def _share(share: BoundedShare) -> tuple[str, str]:
    limits = f"{_percent(share.lower)} to {_percent(share.upper)} %"
    return f"{_percent(share.value)} %", limits


def _percent(share: float) -> str:
    """Return a share in %, with two significant digits below 10 %."""
    return f"{100 * share:.2g}" if share < 0.1 else f"{100 * share:.0f}"


def _spreads(figures: Summary) -> Table:
    table = plain_table("A unit takes", "", "Mean", "Median", "95 % within", "Most")
    for name, spread, scale in (
        ("bench time, min", figures.bench_s, 1 / 60),
        ("RF on, min", figures.on_s, 1 / 60),
        ("load bank's heat (1: rated duty)", figures.load_heat, 1.0),
        ("generator's warmth (1: warm through)", figures.generator_warmth, 1.0),
        ("energy into loads, kJ", figures.energy_j, 1e-3),
    ):
        table.add_row(name, *_spread(spread, scale))
    return table


def _spread(spread: UnitSpread, scale: float) -> tuple[str, ...]:
    values = (spread.mean, spread.median, spread.p95, spread.largest)
    return tuple(f"{scale * value:.2f}" for value in values)


def _steps(figures: Summary) -> Table:
    table = plain_table("Steps that cost most", "Step", "Stage", "Bench min", "RF-on min", "Share")
    for step in figures.steps[:_ROWS]:
        table.add_row(
            printable(step.step),
            step.stage.replace("_", " "),
            f"{step.bench_s / 60:.2f}",
            f"{step.on_s / 60:.2f}",
            f"{100 * step.share_of_time:.0f} %",
        )
    return table


def _points(figures: Summary) -> Table:
    columns = ("Point", "Stage", "Undecided", "95 % limits", "RF s", "U/tol.")
    table = plain_table("Hardest tolerances (undecided: or not measured)", *columns)
    for point in figures.points[:_ROWS]:
        table.add_row(
            printable(f"{point.step}, {point.point}"),
            point.stage.replace("_", " "),
            *_share(point.undecided),
            f"{point.on_s:.1f}",
            "" if point.expanded is None else f"{point.expanded:.2f}",
        )
    return table


def _notes(rehearsal: Rehearsal, figures: Summary) -> Iterator[Text]:
    for problem, count in figures.problems.items():
        yield Text(printable(f"{count} cut short by {problem}"))
    for kind, seeds in figures.seeds.items():
        if seeds:
            yield Text(f"Seeds of units, {kind}: {', '.join(map(str, seeds))}")
    if figures.not_judged:
        yield Text(f"{figures.not_judged} points of a unit have no truth to be held against.")
    yield Text(
        f"Units and analyzers are drawn from {rehearsal.rehearsed.drawn_from} (seed "
        f"{rehearsal.rehearsed.seed}): the figures are as good as those."
    )
