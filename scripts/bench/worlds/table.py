"""The worlds as one table: a line a world, a column a figure; what misses its bar is marked."""

from __future__ import annotations

from collections.abc import Sequence

from rich.table import Table

from scripts.bench.rows import Row

from .figures_of_world import (
    COVERS,
    EXCURSION,
    FALSE_ACCEPTS,
    GIVEN_UP,
    LEFT_WORSE,
    MEDIAN,
    OFF_MEAN,
    RATIO,
    RATIO_P95,
    RF_ON,
    RF_ON_P95,
    SUCCESS,
    UNDECIDED,
    WRONG,
    covers_well,
)

_MISSED = "×"
_COLUMNS = {
    FALSE_ACCEPTS: ("false\naccepts", "{:.0f}"),
    OFF_MEAN: ("off its\nlong mean", "{:.0f}"),
    SUCCESS: ("success", "{:.3f}"),
    COVERS: ("U\ncovers", "{:.3f}"),
    RF_ON: ("RF-on s\nmedian", "{:.1f}"),
    RF_ON_P95: ("RF-on s\np95", "{:.0f}"),
    RATIO: ("÷ oracle\nmedian", "{:.2f}"),
    RATIO_P95: ("÷ oracle\np95", "{:.1f}"),
    GIVEN_UP: ("given up\nRF-on s p95", "{:.0f}"),
    LEFT_WORSE: ("left\nworse", "{:.0f}"),
    EXCURSION: ("excursion\nmost", "{:.2f}"),
    WRONG: ("verified\nwrong", "{:.3f}"),
    UNDECIDED: ("verified\nundecided", "{:.2f}"),
    MEDIAN: ("verified\nmedian s", "{:.1f}"),
}


def by_world(rows: Sequence[Row], title: str) -> Table:
    """A line a world."""
    shown = Table(title=title, caption=f"{_MISSED} misses its bar")
    shown.add_column("world")
    for head, _ in _COLUMNS.values():
        shown.add_column(head, justify="right")
    for world in dict.fromkeys(row.scenario for row in rows):
        found = {row.figure: row for row in rows if row.scenario == world}
        shown.add_row(world, *(_cell(found[figure], form[1]) for figure, form in _COLUMNS.items()))
    return shown


def together(rows: Sequence[Row]) -> Table:
    """All worlds together, a line a figure."""
    shown = Table()
    for column in ("all worlds", "value", "bar", ""):
        shown.add_column(column)
    for row in rows:
        bar = "" if row.bar is None else f"{'≥' if row.at_least else '≤'} {row.bar:g}"
        met = "" if row.bar is None else "met" if row.met else "missed"
        shown.add_row(row.figure, f"{row.value:.4g}", bar, met)
    return shown


def _cell(row: Row, form: str) -> str:
    met = covers_well(row.value) if row.figure == COVERS else row.met
    mark = f"[bold red]{_MISSED}[/] " if met is False else ""
    return mark + form.format(row.value)
