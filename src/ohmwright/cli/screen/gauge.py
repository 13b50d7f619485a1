"""Where in its limits a reading stands, and how the readings of the last minute went."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor

from ohmwright.api.reading_picture import BandPicture
from ohmwright.api.run_picture import TrendPoint

_SHOWN = 2.0
"""The gauge reaches to twice the distance of each limit from the target."""
_ARROWS = 3
"""Arrows at the end of the gauge beyond which the reading lies."""
_STEPS = "▁▂▃▄▅▆▇█"
_PLAIN_STEPS = "_.-=#"
_LEAST_SPAN = 0.02
"""Least part of the highest reading that a trend without limits is drawn across."""


def gauge(band: BandPicture, width: int, *, blocks: bool) -> str:
    """Return a scale `width` columns wide with a mark where the reading stands.

    The limits are brackets, and the target between two is a stroke. A reading beyond the scale is
    arrows at its end; without a present reading there is no mark.
    """
    outside, inside, mark = ("·", "─", "█") if blocks else (".", "-", "#")
    low, high = limit_columns(band, width)
    scale = [inside if low < column < high else outside for column in range(width)]
    scale[high] = "]"
    if not band.one_sided:
        scale[low] = "["
        scale[(low + high) // 2] = "┼" if blocks else "+"
    if band.position is not None:
        place = _column(band.position, band, width)
        if place < 0:
            scale[:_ARROWS] = ("◀" if blocks else "<") * _ARROWS
        elif place >= width:
            scale[-_ARROWS:] = ("▶" if blocks else ">") * _ARROWS
        else:
            scale[place] = mark
    return "".join(scale)


def gauge_labels(band: BandPicture, width: int) -> str:
    """Return the limits and the target in mA, each below its place on the gauge."""
    low, high = limit_columns(band, width)
    figures = band.figures
    labels = {high: figures.upper}
    if not band.one_sided:
        labels = {low: figures.lower, (low + high) // 2: figures.target, high: figures.upper}
    line = [" "] * width
    for column, text in labels.items():
        begin = max(0, min(width - len(text), column - len(text) // 2))
        line[begin : begin + len(text)] = text
    return "".join(line).rstrip()


def limit_columns(band: BandPicture, width: int) -> tuple[int, int]:
    """Return the columns of the lower and the upper limit."""
    low = 0 if band.one_sided else _column(-1.0, band, width)
    return low, _column(1.0, band, width)


def trend_scale(values: Sequence[float | None], band: BandPicture | None) -> tuple[float, float]:
    """Return lowest and highest current of the trend's scale in mA.

    With limits, it reaches as far beyond each as the limits lie apart; else from the lowest reading
    to the highest, though never so near that mere scatter fills it.
    """
    if band is not None:
        span_ma = band.upper_ma - band.lower_ma
        return max(0.0, band.lower_ma - span_ma), band.upper_ma + span_ma
    known = [value for value in values if value is not None] or [0.0]
    lowest, highest = min(known), max(known)
    middle, half = (lowest + highest) / 2, max(highest - lowest, _LEAST_SPAN * highest) / 2
    return max(0.0, middle - half), middle + half


def trend_columns(
    trend: Sequence[TrendPoint], now_s: float, span_s: float, width: int
) -> list[float | None]:
    """Return the mean current of each column of the last `span_s` seconds, None without one."""
    sums, counts = [0.0] * width, [0] * width
    for point in trend:
        column = floor((point.bench_s - now_s + span_s) / span_s * width)
        column = min(width - 1, column)
        if column >= 0:
            sums[column] += point.current_ma
            counts[column] += 1
    return [s / n if n else None for s, n in zip(sums, counts, strict=True)]


def sparkline(
    values: Sequence[float | None], scale: tuple[float, float], rows: int, *, blocks: bool
) -> list[str]:
    """Return `values` as columns of blocks, `rows` lines high.

    What lies beyond the scale is drawn at its end; a column without a value is empty.
    """
    steps = _STEPS if blocks else _PLAIN_STEPS
    levels, (lowest, highest) = rows * len(steps), scale
    span = max(highest - lowest, 1e-9)
    heights = [
        0 if v is None else 1 + round((levels - 1) * min(1.0, max(0.0, (v - lowest) / span)))
        for v in values
    ]
    return [
        "".join(_cell(height - row * len(steps), steps) for height in heights).rstrip()
        for row in reversed(range(rows))
    ]


def _cell(height: int, steps: str) -> str:
    return " " if height <= 0 else steps[min(height, len(steps)) - 1]


def _column(position: float, band: BandPicture, width: int) -> int:
    """Return the column of a place in the band; outside 0 to `width` - 1 it is beyond the scale."""
    low = 0.0 if band.one_sided else -_SHOWN
    return round((position - low) / (_SHOWN - low) * (width - 1))
