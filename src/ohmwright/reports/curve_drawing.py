"""Draws a power curve as SVG: output over load resistance, with tolerance band and uncertainty.

Plain shapes and text with attributes, without styles or names of elements, so that many drawings
fit into one page under a strict policy. Text stays text: the certificate sets it in its font.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from html import escape
from math import ceil, floor, log10

Band = Sequence[tuple[float, float, float, float]]
"""Load resistance in ohm; lower limit, target and upper limit in the unit of the curve."""
Dots = Sequence[tuple[float, float, float]]
"""Load resistance in ohm, value and expanded uncertainty in the unit of the curve."""
_Line = tuple[float, float, float, float]
_Marker = Callable[[float, float, str], str]

_WIDTH, _HEIGHT = 237.6, 129.6  # pt, 84 by 46 mm
_LEFT, _RIGHT, _TOP, _BOTTOM = 36.0, 233.0, 17.0, 103.5
_MARGIN = 0.05
"""Of the range shown, on either side."""
_TICKS = 6
"""At most so many intervals between the figures of an axis."""
# one dark and one of middle lightness, which anybody tells apart; the markers differ as well
_AS_FOUND, _AS_LEFT, _BAND, _EDGE = "#222222", "#00796b", "#dfe5ea", "#9aa5b0"
_TARGET, _GRID = "#707880", "#c8c8c8"
_TARGET_LINE = f'stroke="{_TARGET}" stroke-width="0.7" stroke-dasharray="2.8 1.4"'
_CAP, _MARKER, _TICK = 2.0, 1.7, 3.5
_AXIS_NAMES = {"W": "power in W", "mA": "current in mA"}


@dataclass(frozen=True)
class _Scale:
    """From a value to its place on the page in pt."""

    low: float
    high: float
    start: float
    end: float

    def __call__(self, value: float) -> float:
        """Where `value` is."""
        return self.start + (self.end - self.start) * (value - self.low) / (self.high - self.low)


@dataclass(frozen=True)
class Drawing:
    """What a curve shows; loads rise."""

    unit: str
    band: Band
    found: Dots
    left: Dots

    def svg(self) -> str:
        """The drawing as an SVG document, 84 by 46 mm; equal drawings give equal text."""
        x, y = self._scales()
        parts = [
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{_WIDTH}pt" height="{_HEIGHT}pt" '
            f'viewBox="0 0 {_WIDTH} {_HEIGHT}" font-family="DejaVu Sans, sans-serif" '
            'font-size="7" stroke-linejoin="round" fill="none">',
            _limits(self.band, x, y),
            *_load_axis([load for load, *_ in self.band], x),
            *_value_axis(_AXIS_NAMES.get(self.unit, self.unit), y),
            _targets(self.band, x, y),
            *_dots(self.found, x, y, _AS_FOUND, _circle),
            *_dots(self.left, x, y, _AS_LEFT, _square),
            *_legend(found=bool(self.found), left=bool(self.left)),
            "</svg>",
        ]
        return "\n".join(parts)

    def _scales(self) -> tuple[_Scale, _Scale]:
        """The logarithm of the load resistance, and the value, each with a margin."""
        loads = [log10(load) for load, *_ in self.band]
        values = [value for _, *limits in self.band for value in limits]
        values += [v + side * u for _, v, u in (*self.found, *self.left) for side in (-1, 1)]
        return _scale(loads, _LEFT, _RIGHT), _scale(values, _BOTTOM, _TOP)


def _scale(values: Sequence[float], start: float, end: float) -> _Scale:
    low, high = min(values), max(values)
    margin = _MARGIN * (high - low) or _MARGIN * abs(high) or 1.0
    return _Scale(low - margin, high + margin, start, end)


def _limits(band: Band, x: _Scale, y: _Scale) -> str:
    upper = [(x(log10(load)), y(high)) for load, _, _, high in band]
    lower = [(x(log10(load)), y(low)) for load, low, _, _ in reversed(band)]
    # its edge shows on paper that loses pale greys
    edge = f'stroke="{_EDGE}" stroke-width="0.4"'
    return f'<polygon points="{_points((*upper, *lower))}" fill="{_BAND}" {edge}/>'


def _targets(band: Band, x: _Scale, y: _Scale) -> str:
    places = [(x(log10(load)), y(target)) for load, _, target, _ in band]
    return f'<polyline points="{_points(places)}" {_TARGET_LINE}/>'


def _load_axis(loads: Sequence[float], x: _Scale) -> Iterator[str]:
    """The lower axis: a line at each load resistance that can be written."""
    written = [(x(log10(load)), f"{load:g}") for load in _apart(loads)]
    yield _lines([(at, _TOP, at, _BOTTOM) for at, _ in written], _GRID, 0.3)
    ticks = [(at, _BOTTOM, at, _BOTTOM + _TICK) for at, _ in written]
    yield _lines([(_LEFT, _BOTTOM, _RIGHT, _BOTTOM), *ticks], "#000000", 0.5)
    for at, text in written:
        yield _text(at, _BOTTOM + 12.3, text, "middle")
    yield _text((_LEFT + _RIGHT) / 2, _BOTTOM + 20.5, "load resistance in Ω", "middle")


def _value_axis(name: str, y: _Scale) -> Iterator[str]:
    """The left axis: lines at round values."""
    written = [(y(value), text) for value, text in round_values(y.low, y.high)]
    yield _lines([(_LEFT, at, _RIGHT, at) for at, _ in written], _GRID, 0.3)
    ticks = [(_LEFT - _TICK, at, _LEFT, at) for at, _ in written]
    yield _lines([(_LEFT, _TOP, _LEFT, _BOTTOM), *ticks], "#000000", 0.5)
    for at, text in written:
        yield _text(_LEFT - 5.5, at + 2.5, text, "end")
    middle = (_TOP + _BOTTOM) / 2
    yield _text(8.0, middle, name, "middle", f' transform="rotate(-90 8 {middle:g})"')


def round_values(low: float, high: float) -> list[tuple[float, str]]:
    """Multiples of 1, 2 or 5 times a power of ten between `low` and `high`, each with its text."""
    least = (high - low) / _TICKS
    power = floor(log10(least))
    step = next(m * 10.0**power for m in (1, 2, 5, 10) if m * 10.0**power >= least)
    digits = max(0, -floor(log10(step) + 1e-9))
    values = [step * n for n in range(ceil(low / step), floor(high / step) + 1)]
    return [(value, f"{value:.{digits}f}") for value in values]


def _apart(loads: Sequence[float]) -> list[float]:
    """The load resistances that can be written side by side on a logarithmic axis."""
    least = (loads[-1] / loads[0]) ** (1 / 9)
    kept: list[float] = []
    for load in loads:
        if not kept or load >= kept[-1] * least:
            kept.append(load)
    return kept


def _dots(dots: Dots, x: _Scale, y: _Scale, colour: str, marker: _Marker) -> Iterator[str]:
    """Values joined by a line, with bars of their expanded uncertainty."""
    if dots:
        places = [(x(log10(load)), y(value)) for load, value, _ in dots]
        yield f'<polyline points="{_points(places)}" stroke="{colour}" stroke-width="0.8"/>'
        bars = (_bar(x(log10(load)), y(value + u), y(value - u)) for load, value, u in dots if u)
        yield _lines([line for bar in bars for line in bar], colour, 0.8)
        yield from (marker(*place, colour) for place in places)


def _legend(*, found: bool, left: bool) -> Iterator[str]:
    """What colours and lines mean, above the drawing."""
    edge = f'stroke="{_EDGE}" stroke-width="0.4"'
    yield f'<rect x="38" y="5.5" width="10.5" height="5" fill="{_BAND}" {edge}/>'
    yield _text(52.0, 10.5, "tolerance")
    yield f'<path d="M91 8H103" {_TARGET_LINE}/>'
    yield _text(106.0, 10.5, "target")
    at = 136.0
    for drawn, name, colour, marker in (
        (found, "as found", _AS_FOUND, _circle),
        (left, "as left", _AS_LEFT, _square),
    ):
        if drawn:
            yield _lines([(at, 8.0, at + 11, 8.0), *_bar(at + 5.5, 4.5, 11.5)], colour, 0.8)
            yield marker(at + 5.5, 8.0, colour)
            yield _text(at + 14.5, 10.5, name)
            at += 52.0


def _bar(x: float, top: float, bottom: float) -> list[_Line]:
    """The lines of an uncertainty bar with its caps."""
    caps = [(x - _CAP, y, x + _CAP, y) for y in (top, bottom)]
    return [(x, top, x, bottom), *caps]


def _circle(x: float, y: float, colour: str) -> str:
    return (
        f'<circle cx="{x:.2f}" cy="{y:.2f}" r="{_MARKER}" fill="#ffffff" stroke="{colour}" '
        'stroke-width="0.8"/>'
    )


def _square(x: float, y: float, colour: str) -> str:
    return (
        f'<rect x="{x - _MARKER:.2f}" y="{y - _MARKER:.2f}" width="{2 * _MARKER}" '
        f'height="{2 * _MARKER}" fill="{colour}"/>'
    )


def _lines(lines: Iterable[_Line], colour: str, width: float) -> str:
    """Straight lines of one colour, each from a place to another."""
    path = "".join(f"M{a:.2f} {b:.2f}L{c:.2f} {d:.2f}" for a, b, c, d in lines)
    return f'<path d="{path}" stroke="{colour}" stroke-width="{width}"/>'


def _points(places: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{x:.2f},{y:.2f}" for x, y in places)


def _text(x: float, y: float, text: str, anchor: str = "start", more: str = "") -> str:
    return (
        f'<text x="{x:.2f}" y="{y:.2f}" text-anchor="{anchor}" fill="#000000"{more}>'
        f"{escape(text)}</text>"
    )
