"""The figure of units that creep: values with their intervals, adjustments, forecast, limits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from ohmwright.model.quantity import unit_of

from .creep_course import expected_ahead, point_of, times_ahead
from .creep_filter import BoolArray
from .creep_model import FloatArray
from .creep_table import CreepRow
from .fleet_forecast import FleetForecast, PointForecast
from .years import years_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_MOST = 6
"""Panels of one figure."""
_ORIGIN = 2000.0
_FOUND, _LEFT, _FAN, _LIMIT = "#222222", "#00796b", "#3b8f84", "#8a1f1f"


def plot_creep(
    forecast: FleetForecast,
    rows: Sequence[CreepRow],
    at: datetime,
    grounds: Mapping[tuple[str, str, str], str],
    *,
    simulated: bool,
) -> Figure:
    """Return the figure of the first rows, a panel for each; `at` is marked.

    `grounds`: by unit, step and point how its values are to be qualified, in words.
    """
    from matplotlib.figure import Figure

    shown = rows[:_MOST]
    columns = 1 if len(shown) == 1 else 2
    lines = -(-len(shown) // columns)
    figure = Figure(figsize=(5.2 * columns + 0.6, 2.3 * lines + 0.7), layout="constrained")
    panels = figure.subplots(lines, columns, squeeze=False).flatten()
    for axes, row in zip(panels, shown, strict=False):
        _panel(axes, point_of(forecast, row), row, at)
        said = (f"{row.asset}, {row.step} {row.point}", grounds[row.key])
        axes.set_title("\n".join(filter(None, said)), fontsize=9, loc="left")
    for axes in panels[len(shown) :]:
        axes.set_axis_off()
    if simulated:
        figure.suptitle("SIMULATED units", fontsize=9)
    handles, names = panels[0].get_legend_handles_labels()
    figure.legend(handles, names, loc="outside lower center", ncols=7, frameon=False, fontsize=8)
    return figure


def _panel(axes: Axes, point: PointForecast, row: CreepRow, at: datetime) -> None:
    from matplotlib.ticker import MaxNLocator

    index = point.of.assets.index(row.asset)
    limits, seen = row.limits, point.of.seen
    known = seen.known[index]
    years = _ORIGIN + seen.times[index][known]
    values = limits.middle + limits.half * seen.values[index][known]
    reach = 2.0 * limits.half * seen.uncertainties[index][known]
    fresh = seen.adjusted[index][known]
    for chosen, colour, marker, name in (
        (~fresh, _FOUND, "o", "value ± U (k = 2)"),
        (fresh, _LEFT, "s", "begins anew ± U (k = 2)"),
    ):
        axes.errorbar(
            years[chosen],
            values[chosen],
            reach[chosen],
            fmt=marker,
            color=colour,
            markersize=4,
            linewidth=1,
            label=name,
        )
    for year in years[fresh].tolist():
        axes.axvline(year, color=_LEFT, linewidth=0.8, linestyle=":")
    _pieces(axes, years, values, fresh)
    _fan(axes, point, index, row, at)
    for limit in () if limits.one_sided else (limits.lower,):
        axes.axhline(limit, color=_LIMIT, linewidth=1.0, linestyle="--")
    axes.axhline(limits.upper, color=_LIMIT, linewidth=1.0, linestyle="--", label="limits")
    axes.axvline(_ORIGIN + years_of(at), color="black", linewidth=0.8, label=f"{at:%Y-%m-%d}")
    unit = unit_of(limits.quantity).symbol
    axes.set_ylabel(f"{limits.quantity.rpartition('_')[0].replace('_', ' ')} in {unit}", fontsize=8)
    axes.tick_params(labelsize=7)
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    axes.spines[["top", "right"]].set_visible(False)


def _pieces(axes: Axes, years: FloatArray, values: FloatArray, fresh: BoolArray) -> None:
    """Join the values between adjustments."""
    starts = [0, *np.flatnonzero(fresh).tolist(), len(years)]
    for begin, end in pairwise(starts):
        axes.plot(years[begin:end], values[begin:end], color="#707880", linewidth=0.8)


def _fan(axes: Axes, point: PointForecast, index: int, row: CreepRow, at: datetime) -> None:
    """Draw the expected value ahead with its intervals of 50 and 90 %."""
    times = times_ahead(point, index, at)
    years = _ORIGIN + times
    deviations = expected_ahead(point, index, times)
    values = np.maximum(row.limits.least, row.limits.middle + row.limits.half * deviations)
    expected, low, lower, upper, high = values.T
    axes.fill_between(years, low, high, color=_FAN, alpha=0.18, linewidth=0, label="90 %")
    axes.fill_between(years, lower, upper, color=_FAN, alpha=0.3, linewidth=0, label="50 %")
    axes.plot(years, expected, color=_FAN, linewidth=1.2, label="expected")
