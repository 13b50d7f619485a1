"""The figure of one or two rehearsals: verdicts, bench time, costs of steps, hard tolerances."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from ohmwright.reports.text import counted

from .rehearse import Rehearsal, rehearsal_names
from .summary import BoundedShare, Summary

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_COLOURS = ("#00796b", "#9c2f6f")
"""Of the first and the second procedure; apart for eyes that tell no red from green, too."""
_STEPS, _POINTS = 10, 10
_BAR = 0.38
_FEWEST_ROWS = 4
"""Room for so many bars, so that a single one is not as high as the figure."""
_STAGE_WORDS = {"as_found": "as found", "adjust": "adjusting", "as_left": "as left"}


def plot(rehearsals: Sequence[Rehearsal]) -> Figure:
    """Return the figure of one rehearsal, or of two on the same units side by side."""
    from matplotlib.figure import Figure

    summaries = [one.summary for one in rehearsals]
    names = rehearsal_names(rehearsals)
    figure = Figure(figsize=(11, 8), layout="constrained")
    halves: Any = figure.subfigures(2, 1)
    upper, lower = halves  # so the long names below take no room from what is above
    verdicts, times = upper.subplots(1, 2)
    steps, points = lower.subplots(1, 2)
    _verdicts(verdicts, summaries, names)
    _times(times, rehearsals)
    _steps(steps, summaries)
    _points(points, summaries)
    if len(names) > 1:
        named = verdicts.get_legend_handles_labels()
        upper.legend(*named, loc="outside upper center", frameon=False)
    figure.suptitle(_heading(summaries[0]))
    return figure


def _heading(summary: Summary) -> str:
    """Return what the figure is of; one that was stopped says so wherever it is shown."""
    units = counted(summary.units, "invented unit")
    missing = summary.wanted - summary.units
    stopped = f"; stopped: {missing} of {summary.wanted} not run" if missing else ""
    return f"Rehearsal on {units}, SIMULATED{stopped}"


def _bars(
    axes: Axes, rows: Sequence[str], columns: Sequence[Sequence[float]], names: Sequence[str] = ()
) -> list[np.ndarray]:
    """Draw horizontal bars, one a row for each procedure, the first row on top; their heights."""
    places = np.arange(len(rows), dtype=float)
    height = 2 * _BAR / len(columns)
    at = []
    for index, values in enumerate(columns):
        shifted = places + (index - 0.5 * (len(columns) - 1)) * height
        label = names[index] if names else None
        axes.barh(shifted, values, height, color=_COLOURS[index], label=label)
        at.append(shifted)
    axes.set_ylim(-0.6, max(len(rows), _FEWEST_ROWS) - 0.4)
    axes.set_yticks(places, rows)
    axes.invert_yaxis()
    axes.spines[["top", "right"]].set_visible(False)
    return at


def _bounds(axes: Axes, at: np.ndarray, shares: Sequence[BoundedShare]) -> None:
    """Draw the 95 % limits of shares as lines, in %."""
    for place, share in zip(at, shares, strict=True):
        ends = (100 * share.lower, 100 * share.upper)
        axes.plot(ends, (place, place), color="black", linewidth=1.2)


def _verdicts(axes: Axes, summaries: Sequence[Summary], names: Sequence[str]) -> None:
    of = [
        {**one.verdicts, "false accept": one.false_accept, "false reject": one.false_reject}
        for one in summaries
    ]
    rows = [row for row in of[0] if row.startswith("false") or any(o[row].count for o in of)]
    shares = [[one[row] for row in rows] for one in of]
    places = _bars(axes, rows, [[100 * s.value for s in column] for column in shares], names)
    for at, column in zip(places, shares, strict=True):
        _bounds(axes, at, column)
    axes.set_xlabel("units in %, with 95 % limits")
    axes.set_title("Verdicts on units")


def _times(axes: Axes, rehearsals: Sequence[Rehearsal]) -> None:
    for one, colour in zip(rehearsals, _COLOURS, strict=False):
        for style, seconds in (
            ("-", [o.bench_s for o in one.outcomes]),
            ("--", [o.on_s for o in one.outcomes]),
        ):
            minutes = np.sort(np.array(seconds)) / 60
            share = 100 * np.arange(1, minutes.size + 1) / minutes.size
            axes.step(minutes, share, style, where="post", color=colour)
    axes.set_xlabel("minutes a unit")
    axes.set_ylabel("units done within, %")
    axes.set_xlim(left=0)
    axes.set_ylim(0, 100)
    axes.spines[["top", "right"]].set_visible(False)
    axes.set_title("Bench time (solid) and RF-on time (dashed)")


def _steps(axes: Axes, summaries: Sequence[Summary]) -> None:
    minutes = [{(s.stage, s.step): s.bench_s / 60 for s in one.steps} for one in summaries]
    every = dict.fromkeys(key for one in minutes for key in one)
    keys = sorted(every, key=lambda key: -max(one.get(key, 0.0) for one in minutes))[:_STEPS]
    rows = [f"{step} ({_STAGE_WORDS[stage]})" for stage, step in keys]
    _bars(axes, rows, [[one.get(key, 0.0) for key in keys] for one in minutes])
    axes.set_xlabel("mean bench minutes a unit")
    axes.set_title("Steps that cost most")


def _points(axes: Axes, summaries: Sequence[Summary]) -> None:
    shares = [{(p.stage, p.step, p.point): p.undecided for p in one.points} for one in summaries]
    none = BoundedShare(0, 0, 0.0, 0.0)
    every = dict.fromkeys(key for one in shares for key in one)
    keys = sorted(every, key=lambda key: -max(one.get(key, none).value for one in shares))[:_POINTS]
    rows = [f"{step}, {point} ({_STAGE_WORDS[stage]})" for stage, step, point in keys]
    columns = [[one.get(key, none) for key in keys] for one in shares]
    places = _bars(axes, rows, [[100 * s.value for s in column] for column in columns])
    for at, column in zip(places, columns, strict=True):
        _bounds(axes, at, column)
    axes.set_xlabel("undecided in %, with 95 % limits")
    axes.set_title("Hardest tolerances")
