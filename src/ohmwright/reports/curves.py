"""Power curves as SVG: output over load resistance, with tolerance band and uncertainty bars."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from io import StringIO
from typing import TYPE_CHECKING, Any

from ohmwright.model.result import Result
from ohmwright.model.tolerance import Target

from .certificate import Certificate, CertifiedPoint
from .text import limits_text, value_and_uncertainty

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# two hues that colour-blind people tell apart; the markers differ as well
_FOUND, _LEFT, _BAND = "#c05a00", "#1f5fa8", "#dfe5ea"
_STYLE: dict[Any, Any] = {
    "svg.hashsalt": "ohmwright",  # the same drawing is the same bytes
    "svg.fonttype": "path",
    "font.family": "DejaVu Sans",
    "font.size": 7.0,
    "axes.linewidth": 0.5,
    "xtick.major.width": 0.5,
    "ytick.major.width": 0.5,
}
LEAST_POINTS = 3
"""Fewest load resistances for which a curve is drawn."""


@dataclass(frozen=True)
class PlottedCurve:
    """The points of a step that share a quantity and a name, by rising load resistance."""

    title: str
    unit: str
    lines: tuple[CertifiedPoint, ...]

    def alt(self) -> str:
        """The values and limits of the curve as a sentence for each load resistance."""
        return f"{self.title}. " + " ".join(self._said())

    def _said(self) -> Iterable[str]:
        for line in self.lines:
            said = [
                f"{name} {value_and_uncertainty(r.measured)[0]} {self.unit}"
                for name, r in (("as found", line.found), ("as left", line.left))
                if r is not None and r.measured is not None
            ]
            target, load_ohm = line.last.target, line.last.load_ohm
            allowed = "" if target is None else f", limits {limits_text(target)} {self.unit}"
            yield f"{load_ohm:g} Ω: {', '.join(said)}{allowed}."


def plotted_curves(certificate: Certificate) -> tuple[PlottedCurve, ...]:
    """Every curve of a certificate that has three or more load resistances."""
    groups: dict[tuple[str, str, str], list[CertifiedPoint]] = {}
    for line in certificate.lines:
        result = line.last
        if result.load_ohm is not None and result.target is not None:
            prefix = line.point.removesuffix(f"{result.load_ohm:g} ohm").strip()
            groups.setdefault((line.step, prefix, result.target.unit), []).append(line)
    return tuple(
        PlottedCurve(f"{step}, {prefix}" if prefix else step, unit, tuple(sorted(lines, key=_load)))
        for (step, prefix, unit), lines in groups.items()
        if len({_load(line) for line in lines}) >= LEAST_POINTS
    )


def _load(line: CertifiedPoint) -> float:
    """The load resistance of a point in ohm."""
    return line.last.load_ohm or 0.0


def curve_svg(curve: PlottedCurve) -> str:
    """The curve as an SVG document, 84 by 46 mm; equal curves give equal text."""
    import matplotlib as mpl
    from matplotlib.figure import Figure

    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(3.3, 1.8), layout=None)
        axes = figure.add_axes((0.13, 0.20, 0.85, 0.68))
        _axes(axes, curve)
        _band(axes, curve.lines)
        found = [line.found for line in curve.lines if line.found is not None]
        left = [line.left for line in curve.lines if line.left is not None]
        _bars(axes, found, "as found", _FOUND, "o", "white")
        _bars(axes, left, "as left", _LEFT, "s", _LEFT)
        axes.legend(
            frameon=False,
            loc="lower left",
            bbox_to_anchor=(-0.02, 0.97),
            ncols=3,
            handlelength=1.5,
            columnspacing=1.2,
        )
        svg = StringIO()
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        figure.savefig(svg, format="svg", metadata=nothing, transparent=True)
    return svg.getvalue()


def _axes(axes: Axes, curve: PlottedCurve) -> None:
    """Set up axes: logarithmic load resistance over output."""
    from matplotlib.ticker import FixedLocator, NullLocator

    loads = [_load(line) for line in curve.lines]
    axes.set_xscale("log")
    axes.xaxis.set_major_locator(FixedLocator(_apart(loads)))
    axes.xaxis.set_minor_locator(NullLocator())
    axes.xaxis.set_major_formatter(lambda value, _: f"{value:g}")
    axes.set_xlabel("load resistance in Ω", labelpad=1.5)
    axes.set_ylabel(
        {"W": "power in W", "mA": "current in mA"}.get(curve.unit, curve.unit), labelpad=2
    )
    axes.grid(visible=True, linewidth=0.3, color="#c8c8c8")
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _apart(loads: Sequence[float]) -> list[float]:
    """The load resistances that can be written side by side on a logarithmic axis."""
    least = (loads[-1] / loads[0]) ** (1 / 9)
    kept: list[float] = []
    for load in loads:
        if not kept or load >= kept[-1] * least:
            kept.append(load)
    return kept


def _band(axes: Axes, lines: Sequence[CertifiedPoint]) -> None:
    """Draw the tolerance band and the targets."""
    wanted: list[tuple[float, Target]] = [
        (_load(line), line.last.target) for line in lines if line.last.target is not None
    ]
    loads = [load for load, _ in wanted]
    lower, upper = [t.lower for _, t in wanted], [t.upper for _, t in wanted]
    axes.fill_between(loads, lower, upper, color=_BAND, linewidth=0, label="tolerance")
    axes.plot(loads, [t.value for _, t in wanted], color="#707880", linewidth=0.7, dashes=(4, 2))


def _bars(
    axes: Axes, results: Sequence[Result], label: str, colour: str, marker: str, face: str
) -> None:
    """Draw values with bars of their expanded uncertainty."""
    seen = [(r.load_ohm, r.measured) for r in results if r.measured is not None]
    if not seen:
        return
    axes.errorbar(
        [load or 0.0 for load, _ in seen],
        [measured.value for _, measured in seen],
        yerr=[measured.expanded or 0.0 for _, measured in seen],
        label=label,
        color=colour,
        marker=marker,
        markersize=3.2,
        markerfacecolor=face,
        markeredgewidth=0.8,
        linewidth=0.8,
        elinewidth=0.8,
        capsize=2,
    )
