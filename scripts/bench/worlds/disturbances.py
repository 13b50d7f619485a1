"""What disturbs the output: hunting of several shapes, 1/f noise, steps of the line voltage."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.signal import sawtooth, square

from .drawn import Drawn

Floats = NDArray[np.float64]

_GOLDEN = (1 + 5**0.5) / 2
_LONGER = 4
"""Noise is made for a longer time than is used, so that its slowest parts are drifts."""


def hunting(unit: Drawn, time_s: Floats, rng: np.random.Generator) -> Floats:
    """Relative swing at times of shape (n,), equal steps apart; its long mean is 0."""
    if unit.hunting == 0:
        return np.zeros_like(time_s)
    angle = 2 * np.pi * time_s / unit.hunting_period_s + rng.uniform(0, 2 * np.pi)
    match unit.world.hunting_shape:
        case "square":
            return unit.hunting * np.asarray(square(angle))
        case "sawtooth":
            return unit.hunting * np.asarray(sawtooth(angle))
        case "two periods":
            other = square(angle / _GOLDEN + rng.uniform(0, 2 * np.pi))
            return unit.hunting * np.asarray(0.6 * np.sin(angle) + 0.4 * other)
        case "teeter":
            return unit.hunting * teeter(time_s, unit.hunting_period_s, rng)


def teeter(time_s: Floats, dwell_s: float, rng: np.random.Generator) -> Floats:
    """-1 or 1 at each time, shape (n,): two states, left at random after `dwell_s` on average."""
    step_s = time_s[1] - time_s[0] if time_s.size > 1 else 0.0
    left = rng.random(time_s.size) < 1 - np.exp(-step_s / dwell_s)
    left[0] = rng.random() < 0.5
    return 1.0 - 2.0 * (np.cumsum(left) % 2)


def pink_noise(n: int, rng: np.random.Generator) -> Floats:
    """Noise whose power density falls as 1/f, shape (n,), of standard deviation 1 on average.

    Made in the frequency domain (Timmer and König 1995, from memory).
    """
    length = _LONGER * n
    frequency = np.fft.rfftfreq(length)[1:]
    amplitude = frequency**-0.5
    spectrum = amplitude * (rng.normal(size=frequency.size) + 1j * rng.normal(size=frequency.size))
    whole = np.fft.irfft(np.concatenate([[0.0], spectrum]), length)
    level = np.sqrt(4 * np.sum(amplitude[:-1] ** 2) + 2 * amplitude[-1] ** 2) / length
    return np.asarray(whole[:n] / level)


class Line:
    """The line voltage as the output feels it: steps at random times, back towards its mean."""

    def __init__(self, unit: Drawn, rng: np.random.Generator) -> None:
        self._unit, self._rng = unit, rng
        self.factor = 1.0

    def step(self, time_s: float) -> None:
        """Let `time_s` pass."""
        unit = self._unit
        if unit.line_step > 0 and self._rng.random() < time_s / unit.world.line_every_s:
            self.factor = 1 + unit.line_step * float(self._rng.uniform(-1, 1))
