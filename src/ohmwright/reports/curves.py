"""Power curves: which points of a certificate make one, in a drawing and in words."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ohmwright.model.result import Result
from ohmwright.model.tolerance import Target

from .certificate import Certificate, CertifiedPoint
from .curve_drawing import Dots, Drawing
from .text import limits_text, value_and_uncertainty

LEAST_POINTS = 3
"""Fewest load resistances for which a curve is drawn: two give a line that shows no course."""


@dataclass(frozen=True)
class PlottedCurve:
    """The points of a step that share a quantity and a name, by rising load resistance."""

    title: str
    unit: str
    lines: tuple[CertifiedPoint, ...]

    def alt(self) -> str:
        """The values and limits of the curve in words, a sentence for each load resistance."""
        return f"{self.title}. " + " ".join(self._said())

    def _said(self) -> Iterable[str]:
        for line in self.lines:
            said = [
                f"{name} {value_and_uncertainty(r.measured)[0]} {self.unit}"
                for name, r in (("as found", line.found), ("as left", line.left))
                if r is not None and r.measured is not None
            ] or ["no value"]
            if line.last.target is not None:
                said.append(f"limits {limits_text(line.last.target)} {self.unit}")
            yield f"{_load(line):g} Ω: {', '.join(said)}."


def plotted_curves(certificate: Certificate) -> tuple[PlottedCurve, ...]:
    """Every curve of a certificate that has `LEAST_POINTS` load resistances or more."""
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
    targets = [(_load(line), line.last.target) for line in curve.lines]
    return Drawing(
        unit=curve.unit,
        band=[(load, _least(t), t.value, t.upper) for load, t in targets if t is not None],
        found=_dots(line.found for line in curve.lines),
        left=_dots(line.left for line in curve.lines),
    ).svg()


def _least(target: Target) -> float:
    """The lower limit; zero where only the upper one counts."""
    return 0.0 if target.one_sided else target.lower


def _dots(results: Iterable[Result | None]) -> Dots:
    """Load resistance, value and expanded uncertainty of what was measured."""
    return [
        (r.load_ohm or 0.0, r.measured.value, r.measured.expanded or 0.0)
        for r in results
        if r is not None and r.measured is not None
    ]
