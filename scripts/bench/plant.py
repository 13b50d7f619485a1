"""The fast plant: one unit's readings in closed form, the meter's window included."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scripts.bench.population import Unit

Floats = NDArray[np.float64]


def window_step(unit: Unit, since_s: Floats) -> Floats:
    """Mean over the meter's window of the unit step response, `since_s` after the step."""
    w = unit.window_s
    return (_integral(unit, since_s) - _integral(unit, since_s - w)) / w


def _integral(unit: Unit, since_s: Floats) -> Floats:
    a, b = unit.lag_s, unit.second_lag_s
    x = np.maximum(since_s - unit.dead_s, 0.0)
    return x - (a + b) + (a * a * np.exp(-x / a) - b * b * np.exp(-x / b)) / (a - b)


@dataclass
class Plant:
    """A unit between activations and in one; ages count from the latest switching on."""

    unit: Unit
    rng: np.random.Generator
    counts: float = 0.0
    heat: float = 0.0
    on: bool = False
    rf_on_s: float = 0.0
    activations: int = 0
    excursion_ma: float = 0.0
    _age_s: Floats = field(default_factory=lambda: np.empty(0))
    _clean: Floats = field(default_factory=lambda: np.empty(0))
    _noise: Floats = field(default_factory=lambda: np.empty(0))
    _taken: int = 0

    def activate(self) -> None:
        """Switch on; all readings up to the time-out are laid out at once."""
        unit, rng = self.unit, self.rng
        self.on = True
        self.activations += 1
        self._taken = 0
        first_s = rng.random() * unit.interval_s
        self._age_s = np.arange(first_s, unit.timeout_s, unit.interval_s)
        self._clean = unit.steady_ma(self.counts) * window_step(unit, self._age_s)
        self._noise = self._factors()
        self._note_excursion()

    def _factors(self) -> Floats:
        unit, rng = self.unit, self.rng
        n = self._age_s.size
        middle_s = self._age_s - unit.window_s / 2
        heat = 1 - (1 - self.heat) * np.exp(-np.maximum(middle_s, 0) / unit.droop_tau_s)
        factor = 1 - unit.droop * heat
        if unit.hunting > 0:
            omega = 2 * np.pi / unit.hunting_period_s
            blur = np.sinc(unit.window_s / unit.hunting_period_s)
            phase = rng.uniform(0, 2 * np.pi)
            factor = factor * (1 + unit.hunting * blur * np.sin(omega * middle_s + phase))
        shocks = rng.normal(size=n) * unit.noise
        shocks[1:] *= np.sqrt(1 - unit.noise_phi**2)
        noise = _autoregress(shocks, unit.noise_phi)
        if unit.spike_share > 0:
            noise = noise + unit.spike * (rng.random(n) < unit.spike_share)
        return factor * (1 + noise)

    def move(self, counts: float, age_s: float) -> None:
        """Move the trim; the response begins a dead time later."""
        before = self.unit.steady_ma(self.counts)
        self.counts += counts
        if self.on:
            step = self.unit.steady_ma(self.counts) - before
            later = slice(self._taken, None)
            self._clean[later] += step * window_step(self.unit, self._age_s[later] - age_s)
            self._note_excursion()

    def _note_excursion(self) -> None:
        off = abs(self.unit.steady_ma(self.counts) - self.unit.target_ma)
        self.excursion_ma = max(self.excursion_ma, off)

    def next_age_s(self) -> float | None:
        """Age of the next reading; None when the unit's time-out comes first."""
        return float(self._age_s[self._taken]) if self._taken < self._age_s.size else None

    def read(self) -> tuple[float, float]:
        """Age and value of the next reading."""
        i = self._taken
        self._taken += 1
        q = self.unit.resolution_ma
        return float(self._age_s[i]), float(np.round(self._clean[i] * self._noise[i] / q) * q)

    def release(self, age_s: float) -> None:
        """Switch off; the droop stays as heat."""
        self.on = False
        self.rf_on_s += age_s
        self.heat = 1 - (1 - self.heat) * np.exp(-age_s / self.unit.droop_tau_s)

    def rest(self, rest_s: float) -> None:
        """Stay off; the heat goes."""
        self.heat *= np.exp(-rest_s / self.unit.recovery_tau_s)


def _autoregress(shocks: Floats, phi: float) -> Floats:
    out = shocks.tolist()
    for i in range(1, len(out)):
        out[i] += phi * out[i - 1]
    return np.array(out)
