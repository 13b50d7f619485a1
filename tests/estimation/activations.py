"""Made-up activations with a known answer."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.coefficients import window_mean_response

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Made:
    """Level, lag and noise of one activation from nothing."""

    level: float = 500.0
    lag_s: float = 0.8
    second_pole: float = 0.15
    dead_s: float = 0.5
    droop: float = 0.01
    droop_tau_s: float = 8.0
    noise: float = 0.002
    correlation: float = 0.5
    window_s: float = 0.5
    rate_hz: float = 5.0
    hunting: float = 0.0
    period_s: float = 6.0
    resolution: float = 1.0

    def at(self, age_s: float) -> float:
        """Lag-free output at an age."""
        return self.level * (1 - self.droop * (1 - exp(-age_s / self.droop_tau_s)))

    def readings(self, until_s: float, seed: int = 1) -> tuple[Floats, Floats]:
        """Ages and readings, each a mean over the window before its age."""
        rng = np.random.default_rng(seed)
        age_s = np.arange(self.window_s, until_s, 1 / self.rate_hz)
        t = age_s[:, None] - self.window_s * np.linspace(0, 1, 41)
        since = np.maximum(t - self.dead_s, 0)
        fast_s = self.second_pole * self.lag_s
        step = 1 - (self.lag_s * np.exp(-since / self.lag_s) - fast_s * np.exp(-since / fast_s)) / (
            self.lag_s - fast_s
        )
        droop = 1 - self.droop * (1 - np.exp(-t / self.droop_tau_s))
        swing = 1 + self.hunting * np.sin(2 * np.pi * t / self.period_s + seed)
        clean = (self.level * step * droop * swing).mean(axis=1)
        shock = rng.normal(size=age_s.size)
        noise = shock.copy()
        for i in range(1, noise.size):
            noise[i] = self.correlation * noise[i - 1] + np.sqrt(1 - self.correlation**2) * shock[i]
        value = clean * (1 + self.noise * noise)
        return age_s, self.resolution * np.round(value / self.resolution)


def step_response(made: Made, since_s: Floats) -> Floats:
    """What the meter shows of a unit step, so long after it."""
    return window_mean_response(
        since_s,
        made.window_s,
        lag_s=made.lag_s,
        dead_time_s=made.dead_s,
        pole_ratio=made.second_pole,
    )
