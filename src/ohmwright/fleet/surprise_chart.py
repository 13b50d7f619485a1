"""A control chart for each model: how far visits lay from what was foretold of them.

One value a visit: the mean over the unit's points of their distance from the forecast, in its
standard deviations. The rules take its own standard deviation as 1, as if all points of a visit
erred alike; it is less where they do not, and the rules 1 to 3 then speak more seldom. A step of
one unit shows as one value far out; an analyzer or a procedure that changed shifts many units,
which a row of values on one side shows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from .charts import Signal, western_electric
from .fleet_forecast import FleetForecast
from .years import date_of

if TYPE_CHECKING:
    from matplotlib.figure import Figure

RULES = {
    1: "one beyond 3 standard deviations",
    2: "two of three beyond 2 standard deviations on one side",
    3: "four of five beyond 1 standard deviation on one side",
    4: "eight in a row on one side",
}
"""The Western Electric rules, in words."""


@dataclass(frozen=True, slots=True)
class VisitSurprise:
    """One visit of one unit."""

    at: datetime
    asset: str
    value: float
    """Mean distance from the forecast, in standard deviations."""


@dataclass(frozen=True, slots=True)
class SurpriseChart:
    """The visits of the units of one model, oldest first, and what the rules say of them."""

    model: str
    visits: tuple[VisitSurprise, ...]
    signals: tuple[Signal, ...]

    def marked(self) -> dict[int, list[int]]:
        """Return the index of each visit that a rule marks, oldest first, with those rules."""
        found: dict[int, list[int]] = {}
        for signal in sorted(self.signals, key=lambda one: (one.index, one.rule)):
            found.setdefault(signal.index, []).append(signal.rule)
        return found


def surprise_charts(forecast: FleetForecast, since: datetime) -> list[SurpriseChart]:
    """Return the chart of each model that has visits since `since`."""
    by_visit: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
    for point in forecast.points:
        surprises, times = point.states.surprises, point.of.seen.times
        for unit, index in np.argwhere(~np.isnan(surprises)).tolist():
            asset, time = point.of.assets[unit], float(times[unit, index])
            visit = (point.of.model, asset, f"{date_of(time):%Y-%m-%d}")
            by_visit.setdefault(visit, []).append((time, float(surprises[unit, index])))
    of_models: dict[str, list[VisitSurprise]] = {}
    for (model, asset, _), found in sorted(by_visit.items()):
        at, value = np.mean(found, axis=0).tolist()
        if date_of(at) >= since:
            of_models.setdefault(model, []).append(VisitSurprise(date_of(at), asset, value))
    return [_chart(model, visits) for model, visits in of_models.items()]


def _chart(model: str, visits: list[VisitSurprise]) -> SurpriseChart:
    visits.sort(key=lambda visit: visit.at)
    signals = western_electric([visit.value for visit in visits], 0.0, 1.0)
    return SurpriseChart(model, tuple(visits), signals)


def plot_surprises(charts: Sequence[SurpriseChart]) -> Figure:
    """Return the figure of the charts, one above the other; what a rule signals is marked."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(8.5, 2.1 * len(charts) + 0.5), layout="constrained")
    for axes, chart in zip(
        figure.subplots(len(charts), 1, squeeze=False).flatten(), charts, strict=True
    ):
        dates = np.array([f"{visit.at:%Y-%m-%d}" for visit in chart.visits], dtype="datetime64[D]")
        values = np.array([visit.value for visit in chart.visits])
        marked = list(chart.marked())
        for limit in (-3.0, 3.0):
            axes.axhline(limit, color="#8a1f1f", linewidth=0.9, linestyle="--")
        axes.axhline(0.0, color="#707880", linewidth=0.8)
        axes.plot(dates, values, "o", color="#00796b", markersize=3.5)
        axes.plot(
            dates[marked], values[marked], "o", color="#9c2f6f", markersize=9, fillstyle="none"
        )
        axes.set_title(chart.model, fontsize=9, loc="left")
        axes.set_ylabel("standard deviations", fontsize=8)
        axes.set_ylim(min(-4.0, values.min() - 0.5), max(4.0, values.max() + 0.5))
        axes.tick_params(labelsize=7)
        axes.spines[["top", "right"]].set_visible(False)
    return figure
