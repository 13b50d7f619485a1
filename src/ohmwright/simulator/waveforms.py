"""Waveforms of the output modes: RMS values in closed form, and samples.

The closed forms are for an envelope that starts at 1; samples are scaled to an RMS value of 1.
"""

from __future__ import annotations

from functools import lru_cache
from math import cos, exp, pi, sin, sqrt

import numpy as np
from numpy.typing import NDArray

from .profile import DampedSine, GatedSine, Sine, Waveform

Floats = NDArray[np.float64]


def rms(waveform: Waveform) -> float:
    """RMS value at amplitude 1."""
    match waveform:
        case Sine():
            return sqrt(0.5)
        case GatedSine():
            return sqrt(waveform.duty / 2)
        case DampedSine():
            return _damped_rms(waveform)


def waveform_samples(
    waveform: Waveform, sample_rate_hz: float, samples: int, start_s: float = 0.0
) -> Floats:
    """`samples` values with an RMS value of 1, shape (samples,).

    The first lies `start_s` after the beginning of a repetition.
    """
    t = start_s + np.arange(samples) / sample_rate_hz
    w = 2 * pi * waveform.carrier_hz
    if isinstance(waveform, Sine):
        return np.sin(w * t) / rms(waveform)
    into_s = t % (1 / waveform.repetition_hz)
    if isinstance(waveform, GatedSine):
        envelope = (into_s * waveform.repetition_hz < waveform.duty).astype(float)
    else:
        envelope = np.exp(-waveform.decay_per_s * into_s)
    return envelope * np.sin(w * into_s) / rms(waveform)


@lru_cache(maxsize=64)
def pass_band(waveform: Waveform, bandwidth_hz: float) -> float:
    """Share of the RMS value left by a first-order low-pass at `bandwidth_hz`."""
    if isinstance(waveform, Sine):
        return 1 / sqrt(1 + (waveform.carrier_hz / bandwidth_hz) ** 2)
    sample_rate_hz = 64 * waveform.carrier_hz
    samples = 4 * round(sample_rate_hz / waveform.repetition_hz)
    power = np.abs(np.fft.rfft(waveform_samples(waveform, sample_rate_hz, samples))) ** 2
    frequency_hz = np.fft.rfftfreq(samples, 1 / sample_rate_hz)
    left = power / (1 + (frequency_hz / bandwidth_hz) ** 2)
    return float(np.sqrt(left.sum() / power.sum()))


def _damped_rms(waveform: DampedSine) -> float:
    """RMS value of a damped sine: the integral of exp(-2at) sin(wt)^2 over one repetition."""
    a, w = waveform.decay_per_s, 2 * pi * waveform.carrier_hz
    period_s = 1 / waveform.repetition_hz
    left = exp(-2 * a * period_s)
    turn = 2 * w * period_s
    steady = (1 - left) / (2 * a)
    swinging = (2 * a - left * (2 * a * cos(turn) - 2 * w * sin(turn))) / (4 * a * a + 4 * w * w)
    return sqrt((steady - swinging) / (2 * period_s))
