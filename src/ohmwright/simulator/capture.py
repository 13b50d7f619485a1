"""Waveform captures of the analyzer: samples of the current of one reading."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .profile import MeterPhysics, Waveform
from .randomness import Randomness
from .waveforms import waveform_samples

_FULL_SCALE = 32767


@dataclass(frozen=True)
class Capture:
    """Samples as big-endian 16-bit counts."""

    counts: bytes
    crest_factor: float | None
    """None where nothing flows."""


def capture_waveform(
    waveform: Waveform, current_ma: float, number: int, physics: MeterPhysics, own: Randomness
) -> Capture:
    """The capture that belongs to reading `number`; equal each time it is asked for."""
    draws = own.stream(f"capture {number}")
    values = waveform_samples(
        waveform, physics.sample_rate_hz, physics.samples, draws.random() * 1e-3
    )
    noise_a = physics.noise_ma / 1000 * draws.standard_normal(physics.samples)
    counts = (current_ma / 1000 * values + noise_a) / amps_per_count(physics)
    whole = np.clip(np.rint(counts), -_FULL_SCALE, _FULL_SCALE)
    square = float(np.mean(whole**2))
    crest = float(np.max(np.abs(whole))) / square**0.5 if current_ma > 0 and square else None
    return Capture(whole.astype(">i2").tobytes(), crest)


def amps_per_count(physics: MeterPhysics) -> float:
    """Amperes for one count of a capture."""
    return physics.peak_a / _FULL_SCALE
