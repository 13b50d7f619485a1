"""Pictures of curves: power over load resistance with uncertainty, limits and other curves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from io import StringIO
from itertools import groupby
from math import nan
from os import PathLike
from pathlib import Path
from statistics import fmean, stdev
from typing import TYPE_CHECKING, Any

from matplotlib import rc_context
from matplotlib.figure import Figure
from matplotlib.ticker import NullFormatter, NullLocator, StrMethodFormatter

from ohmwright.engine.asked_power import limits_w
from ohmwright.engine.point_measurement import OutputPointsStep
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.model.errors import UsageError

from .curve import Curve, CurveKey, CurvePoint

if TYPE_CHECKING:
    from matplotlib.axes import Axes

BandLimits = Mapping[CurveKey, tuple[float, float]]
"""Lower and upper limit of the power in W."""
_COLOURS = ("#1f5fa8", "#c05a00", "#2f7d4f", "#8a4f9e", "#555555", "#a08000")
_MARKERS = ("o", "s", "^", "D", "v", "P")
_LIMITS, _OTHERS = "#dfe5ea", "#707880"
_SIZE_IN = (4.6, 3.6)
"""Of one panel."""
_TICKS_AT_MOST = 8
_LIMIT_PT = 6.0
"""Width of the bar of one load's limits."""
_DPI = 150


def curve_figure(
    curve: Curve, band: str | PathLike[str] | float | None, others: Sequence[Curve]
) -> Figure:
    """Return a panel a mode; see `Curve.plot`. Raises SourceError for a wrong procedure file."""
    modes = sorted({point.mode for point in curve.points})
    figure = Figure(figsize=(_SIZE_IN[0] * len(modes), _SIZE_IN[1]), layout="constrained")
    panels: Any = figure.subplots(1, len(modes), squeeze=False)
    limits = _limits(curve, band)
    for mode, panel in zip(modes, panels[0], strict=True):
        settings_w = sorted({p.setting_w for p in curve.points if p.mode == mode})
        for index, setting_w in enumerate(settings_w):
            _draw_setting(panel, curve, CurveKey(mode, setting_w, 0.0), index, limits, others)
        _label(panel, curve, mode, titled=len(modes) > 1)
    figure.suptitle(_title(curve), fontsize=9)
    return figure


def svg_text(figure: Figure) -> str:
    """Return `figure` as an SVG document; equal figures give equal text."""
    text = StringIO()
    with rc_context({"svg.hashsalt": "ohmwright", "svg.fonttype": "none"}):
        figure.savefig(text, format="svg", metadata={"Date": None})
    return text.getvalue()


def write_picture(figure: Figure, path: Path) -> None:
    """Write `figure` as SVG, PNG or PDF, by the ending of `path`. Raises OSError."""
    if path.suffix.lower() == ".svg":
        path.write_text(svg_text(figure), encoding="utf-8")
    else:
        figure.savefig(path, dpi=_DPI)


def _draw_setting(
    panel: Axes,
    curve: Curve,
    of: CurveKey,
    index: int,
    limits: BandLimits,
    others: Sequence[Curve],
) -> None:
    """Draw one setting of one mode: its limits first, then other curves, then its values."""
    colour = _COLOURS[index % len(_COLOURS)]
    marker = _MARKERS[index % len(_MARKERS)]
    _draw_limits(panel, curve, of, limits)
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


def _draw_limits(panel: Axes, curve: Curve, of: CurveKey, limits: BandLimits) -> None:
    """Draw the limits of a setting: a bar at each load that has some, joined to its neighbours.

    Where a load between two of them was measured and has none, nothing is said of it.
    """
    within = {key.load_ohm: limits[key] for key in limits if key[:2] == of[:2]}
    if not within:
        return
    loads = sorted({*within, *(point.load_ohm for point in _of_setting(curve, of))})
    low, high = zip(*(within.get(load, (nan, nan)) for load in loads), strict=True)
    panel.fill_between(loads, low, high, color=_LIMITS, lw=0, zorder=1)
    panel.vlines(loads, low, high, color=_LIMITS, lw=_LIMIT_PT, label="limits", zorder=1)


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
    panel.xaxis.set_minor_locator(NullLocator())
    panel.xaxis.set_minor_formatter(NullFormatter())
    panel.set_ylim(bottom=0)
    panel.set_xlabel("load resistance in Ω")
    panel.set_ylabel("power in W")
    panel.grid(visible=True, lw=0.3, color="#c8c8c8")
    panel.set_axisbelow(True)
    handles, names = panel.get_legend_handles_labels()
    once = dict(zip(names, handles, strict=True))  # limits stand at every setting
    panel.legend(once.values(), once.keys(), fontsize=7, frameon=False)
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
    modes = sorted({point.mode for point in curve.points})
    mode = f", {modes[0]}" if len(modes) == 1 else ""
    return f"{asset.id}, {asset.model}{mode}, {_day(curve)}{simulated}"


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


def _limits(curve: Curve, band: str | PathLike[str] | float | None) -> BandLimits:
    """Return the limits at the points of `curve`: of a procedure, or in percent of the setting."""
    if band is None:
        return {}
    keys = {point.key for point in curve.points}
    if isinstance(band, int | float):
        refuse_impossible_percent(band, means="No picture was made.")
        part = band / 100
        return {key: (key.setting_w * (1 - part), key.setting_w * (1 + part)) for key in keys}
    return band_limits(Path(band), curve.origin.asset.model)


def refuse_impossible_percent(percent: float, *, option: str = "", means: str) -> None:
    """Raise UsageError where limits of so many percent of the setting cannot be drawn.

    `option`: what gave them, where that is to be named; `means`: what follows.
    """
    if not 0 < percent < 100:
        named = f"{option}: " if option else ""
        raise UsageError(
            f"{named}limits of ± {percent:g} % of the setting cannot be drawn.",
            means,
            "Give a number of percent between 0 and 100, or a procedure file.",
        )


def band_limits(path: Path, model: str) -> BandLimits:
    """Return the limits of the power that a procedure file has.

    Raises ProcedureError, and UsageError where it is not for the generator `model`.
    """
    found: dict[CurveKey, tuple[float, float]] = {}
    procedure = read_procedure(path).procedure
    if procedure.model != model:
        raise UsageError(
            f"{path}: the procedure is for {procedure.model}, the curve of a {model}.",
            "Its limits are not drawn.",
            "Give a procedure for that model, or a number of percent.",
        )
    for step in procedure.step:
        if isinstance(step, OutputPointsStep):  # a leakage has limits, too, and is no output
            for point in step.judged_points():
                key = CurveKey(step.mode, point.setting_w or step.setting_w, point.load_ohm)
                found[key] = limits_w(point)
    return found
