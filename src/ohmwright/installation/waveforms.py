"""Checks of RMS, peak and crest factor of sampled waveforms.

The expected values are closed forms: common practice, no source. Those of the damped sine were
confirmed by numerical integration.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from ohmwright.engine.crest_factor_value import WaveformShape, mean_crest_factor, waveform_shape
from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.model.result import Measured
from ohmwright.uncertainty.waveform import waveform_parameters

from .check import Check, clause_checks

Floats = NDArray[np.float64]
_SAMPLES = 64_000
_FULL_SCALE = 30_000.0


def checks() -> Iterator[Check]:
    """Yield checks of single captures, and of the uncertainty of the mean of several."""
    yield from clause_checks(
        *("closed form", "sine of 100 V", "reference"),
        ("RMS, V", 70.7107, 1e-3, lambda: _rms(100.0 * _sine(1.0))),
        ("crest factor, int16", 1.41421, 1e-4, lambda: _crest(_sine(1.0))),
    )
    yield from clause_checks(
        *("closed form", "gated sine, a tenth of the time on", "reference"),
        ("crest factor, int16", 4.47214, 1e-3, lambda: _crest(_sine(0.1))),
    )
    yield from clause_checks(
        *("closed form", "damped sine, 450 kHz, 1e5 /s, every 32 us", "reference"),
        ("RMS at 1000 V, V", 279.10930, 0.01, lambda: _rms(1000.0 * _damped())),
        ("peak at 1000 V, V", 946.55117, 0.01, lambda: _peak(1000.0 * _damped())),
        ("crest factor, int16", 3.39133, 1e-3, lambda: _crest(_damped())),
    )
    yield from clause_checks(
        *("exact arithmetic", "crest factors 2.0, 2.1, 2.2, 2.3", "reference"),
        ("u of their mean, s / sqrt(4)", 0.0645497, 1e-6, lambda: _mean().uncertainty),
    )


def _peak(samples: Floats) -> float:
    return waveform_parameters(samples).peak


def _rms(samples: Floats) -> float:
    return waveform_parameters(samples).rms


def _sine(duty: float) -> Floats:
    """Return 1000 cycles, shape (64000,): the share `duty` a sine of amplitude 1, the rest zero."""
    cycle = np.arange(_SAMPLES) / 64.0
    return np.where(cycle < 1000.0 * duty, np.sin(math.tau * cycle), 0.0)


def _damped() -> Floats:
    time_s = np.arange(_SAMPLES) / _SAMPLES * 32e-6
    sines: Floats = np.exp(-1e5 * time_s) * np.sin(math.tau * 450e3 * time_s)
    return sines


def _captured(samples: Floats) -> WaveformCapture:
    counts = np.round(_FULL_SCALE * samples / np.max(np.abs(samples))).astype(np.int16)
    return WaveformCapture(counts, 1e-4, 1e-6)


def _crest(samples: Floats) -> float:
    return waveform_shape(_captured(samples)).crest_factor


def _mean() -> Measured:
    found = mean_crest_factor([WaveformShape(crest, 1e-4) for crest in (2.0, 2.1, 2.2, 2.3)], 6.0)
    assert found is not None
    return found
