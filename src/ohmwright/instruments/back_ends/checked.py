"""What a back end returned, held against what it should be; else ValueError with what it was."""

from __future__ import annotations

from math import isfinite, isnan

import numpy as np

from ohmwright.instruments.analyzer import Reading, WaveformCapture

_LONGEST_TEXT = 500
_LARGEST_NUMBER = 1 << 53


def text(value: object) -> str:
    """`value`, where it is printable text of 1 to 500 characters."""
    if not isinstance(value, str) or not 0 < len(value) <= _LONGEST_TEXT or not value.isprintable():
        raise ValueError(f"it should be printable text and is {_shown(value)}")
    return value


def number(value: object) -> float:
    """`value`, where it is a finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise ValueError(f"it should be a finite number and is {_shown(value)}")
    return float(value)


def count(value: object) -> int:
    """`value`, where it is a whole number."""
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > _LARGEST_NUMBER:
        raise ValueError(f"it should be a whole number and is {_shown(value)}")
    return value


def yes_or_no(value: object) -> bool:
    """`value`, where it is True or False."""
    if not isinstance(value, bool):
        raise ValueError(f"it should be True or False and is {_shown(value)}")
    return value


def reading(value: object) -> Reading:
    """`value` as a reading, of which a bare current has no number; NaN is no current as yet."""
    if not isinstance(value, Reading):
        return Reading(_current(value), None)
    taken = value.number
    return Reading(_current(value.current_ma), None if taken is None else count(taken))


def _current(value: object) -> float:
    return value if isinstance(value, float) and isnan(value) else number(value)


def waveform(value: object) -> WaveformCapture:
    """`value`, where it is a captured waveform of 16-bit samples with its two scales."""
    if not isinstance(value, WaveformCapture):
        raise ValueError(f"it should be a WaveformCapture and is {_shown(value)}")
    counts = np.asarray(value.counts)
    if counts.dtype != np.int16 or counts.ndim != 1:
        raise ValueError(f"its samples should be 16-bit counts in a row, not {counts.dtype}")
    return WaveformCapture(counts, number(value.amps_per_count), number(value.interval_s))


def _shown(value: object) -> str:
    return f"{type(value).__name__} {value!r:.80}"
