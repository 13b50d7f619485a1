"""Pictures of curves: power over load resistance with uncertainty, limits and other curves."""

from __future__ import annotations

from collections.abc import Container, Iterator, Sequence
from io import StringIO
from itertools import groupby
from math import nan
from os import PathLike
from pathlib import Path
from statistics import fmean, stdev
from typing import TYPE_CHECKING, Any

from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator, NullFormatter, StrMethodFormatter

from .curve import Curve, CurveKey, CurvePoint
from .curve_band import CurveBand, band_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_COLOURS = ("#00796b", "#9c2f6f", "#222222", "#5b8418", "#8a4b2a", "#6f5a8f")
_MARKERS = ("o", "s", "^", "D", "v", "P")
_OTHERS = "#707880"
_PALE = 0.2
"""Opacity of limits, in the colour of their setting."""
_SIZE_IN = (4.6, 3.6)
"""Of one panel."""
_TICKS_AT_MOST = 8
_LIMIT_PT = 6.0
"""Width of the bar of one load's limits."""


def curve_figure(
    curve: Curve, band: str | PathLike[str] | float | None, others: Sequence[Curve]
) -> Figure:
    """Return a panel a mode; see `Curve.plot`. Raises SourceError for a wrong procedure file."""
    modes = curve.modes
    figure = Figure(figsize=(_SIZE_IN[0] * len(modes), _SIZE_IN[1]), layout="constrained")
    panels: Any = figure.subplots(1, len(modes), squeeze=False)
    limits = band_of(curve, band)
    for mode, panel in zip(modes, panels[0], strict=True):
        settings_w = sorted({p.setting_w for p in curve.points if p.mode == mode})
        for index, setting_w in enumerate(settings_w):
            _draw_setting(panel, curve, CurveKey(mode, setting_w, 0.0), index, limits, others)
        _label(panel, curve, mode, titled=len(modes) > 1)
    figure.suptitle("\n".join(filter(None, (_title(curve), limits.lack))), fontsize=9)
    return figure


def svg_text(figure: Figure) -> str:
    """Return `figure` as an SVG document; equal figures give equal text."""
    text = StringIO()
    with rc_context({"svg.hashsalt": "ohmwright", "svg.fonttype": "none"}):
        figure.savefig(text, format="svg", metadata={"Date": None})
    return text.getvalue()


def _draw_setting(
    panel: Axes,
    curve: Curve,
    of: CurveKey,
    index: int,
    band: CurveBand,
    others: Sequence[Curve],
) -> None:
    """Draw one setting of one mode: its limits first, then other curves, then its values."""
    colour = _COLOURS[index % len(_COLOURS)]
    marker = _MARKERS[index % len(_MARKERS)]
    _draw_limits(panel, curve, of, band, colour)
    _draw_others(panel, of, others, first=index == 0)
    points = sorted(_of_setting(curve, of), key=lambda point: point.load_ohm)
    if points:
        panel.plot(*zip(*_mean_values(points), strict=True), color=colour, lw=1, zorder=3)
    panel.errorbar(
        [point.load_ohm for point in points],
        [point.power_w for point in points],
        yerr=[_expanded_w(point) for point in points],
        fmt=marker,
        ms=3.5,
        lw=0.9,
        capsize=2,
        color=colour,
        label=f"{of.setting_w:g} W, ± U{_missing(curve, of)}",
        zorder=4,
    )


def _missing(curve: Curve, of: CurveKey) -> str:
    """Return how many points of a setting have no value, which no mark in the picture shows."""
    missing = [p for p in curve.points if p.power is None and p.key[:2] == of[:2]]
    return f"; not measured: {len(missing)}" if missing else ""


def _draw_limits(panel: Axes, curve: Curve, of: CurveKey, band: CurveBand, colour: str) -> None:
    """Draw the limits of a setting, joined from load to load; a bar where no neighbour has some.

    Where a load between two of them was measured and has none, nothing is said of it.
    """
    within = {key.load_ohm: ends for key, ends in band.limits_w.items() if key[:2] == of[:2]}
    if not within:
        return
    loads = sorted({*within, *(point.load_ohm for point in _of_setting(curve, of))})
    low, high = zip(*(within.get(load, (nan, nan)) for load in loads), strict=True)
    shown: Any = {"color": colour, "alpha": _PALE, "zorder": 1}
    label = f"{band.name} {of.setting_w:g} W"
    panel.fill_between(loads, low, high, lw=0, label=label, **shown)
    lone = _without_neighbours(loads, within)
    lower, upper = ([within[load][end] for load in lone] for end in (0, 1))
    panel.vlines(lone, lower, upper, lw=_LIMIT_PT, **shown)


def _without_neighbours(loads: Sequence[float], having: Container[float]) -> list[float]:
    """Return those of `loads` that are in `having` while neither of the loads beside them is."""
    beside = zip((nan, *loads[:-1]), loads, (*loads[1:], nan), strict=True)
    return [
        load
        for before, load, after in beside
        if load in having and before not in having and after not in having
    ]


def _draw_others(panel: Axes, of: CurveKey, others: Sequence[Curve], *, first: bool) -> None:
    """Draw one other curve as a line; of several their mean and twice their standard deviation.

    Those stand where all of them have a value: a mean of fewer would look as sure as one of all.
    """
    found: dict[float, list[float]] = {}
    for other in others:
        points = sorted(_of_setting(other, of), key=lambda point: point.load_ohm)
        for load_ohm, power_w in _mean_values(points):
            found.setdefault(load_ohm, []).append(power_w)
    loads = sorted(load for load in found if len(found[load]) == len(others))
    if not loads:
        return
    means = [fmean(found[load]) for load in loads]
    several = len(others) > 1
    name = f"mean of {len(others)} others" if several else _name_of_other(others[0])
    label = name if first else None
    panel.plot(loads, means, "--x", color=_OTHERS, lw=1, ms=3, label=label, zorder=2)
    if several:
        spread = [2 * stdev(found[load]) for load in loads]
        low, high = (
            [mean + sign * width for mean, width in zip(means, spread, strict=True)]
            for sign in (-1, 1)
        )
        label = "± 2 standard deviations" if first else None
        panel.fill_between(loads, low, high, color=_OTHERS, alpha=0.25, lw=0, label=label, zorder=2)


def _name_of_other(other: Curve) -> str:
    """Return the day of an earlier curve, and its file: one day may have several."""
    return f"{Path(other.file).name or 'other'}, {_day(other)}"


def _label(panel: Axes, curve: Curve, mode: str, *, titled: bool) -> None:
    """Name the axes, the loads and what is drawn."""
    loads = sorted({p.load_ohm for p in curve.points if p.mode == mode})
    panel.set_xscale("log")
    panel.set_xticks(_apart(loads))
    panel.xaxis.set_major_formatter(StrMethodFormatter("{x:g}"))
    panel.xaxis.set_minor_locator(FixedLocator(loads))
    panel.xaxis.set_minor_formatter(NullFormatter())
    panel.set_ylim(bottom=0)
    panel.set_xlabel("load resistance in Ω")
    panel.set_ylabel("power in W")
    panel.grid(visible=True, lw=0.3, color="#c8c8c8")
    panel.set_axisbelow(True)
    panel.legend(fontsize=7, frameon=False)
    if titled:
        panel.set_title(mode, fontsize=9)


def _apart(loads: Sequence[float]) -> list[float]:
    """Return the loads that can be written side by side on a logarithmic axis."""
    kept: list[float] = []
    least = (loads[-1] / loads[0]) ** (1 / _TICKS_AT_MOST)
    for load in loads:
        if not kept or load >= kept[-1] * least:
            kept.append(load)
    return kept


def _title(curve: Curve) -> str:
    asset, seed = curve.origin.asset, curve.origin.seed
    simulated = "" if seed is None else f"  SIMULATED, seed {seed}"
    modes = curve.modes
    mode = f", {modes[0]}" if len(modes) == 1 else ""
    part = (
        f"\n{len(curve)} of {curve.origin.planned} points, cut short" if curve.is_cut_short else ""
    )
    return f"{asset.id}, {asset.model}{mode}, {_day(curve)}{simulated}{part}"


def _day(curve: Curve) -> str:
    return f"{curve.origin.begun_at:%Y-%m-%d}"


def _of_setting(curve: Curve, of: CurveKey) -> list[CurvePoint]:
    return [p for p in curve.points if p.power is not None and p.key[:2] == of[:2]]


def _mean_values(points: Sequence[CurvePoint]) -> Iterator[tuple[float, float]]:
    """Yield each load and the mean power of its repeats; `points` are sorted by load."""
    for load_ohm, repeats in groupby(points, key=lambda point: point.load_ohm):
        yield load_ohm, fmean(point.power_w for point in repeats)


def _expanded_w(point: CurvePoint) -> float:
    return 0.0 if point.power is None else point.power.expanded or 0.0
