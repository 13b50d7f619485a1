"""The settle-bound oracle: knows sign, gain, lag, drift and noise, and still waits for the lag.

It waits until what is left of the lag is under a tenth of the tolerance, then averages until the
mean is good enough: to land (probability 0.98) before the move, to confirm (0.999) after it.
Looking again, it also waits for the move's lag and averages before it releases.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scripts.bench.plant import window_step
from scripts.bench.population import Unit

_LEFT = 0.1
_LAND, _CONFIRM = 2.33, 3.29
"""Two-sided normal quantiles of 0.98 and 0.999."""


@dataclass(frozen=True)
class OracleTime:
    """RF-on seconds of the oracle."""

    rf_on_s: float
    rf_on_looking_again_s: float


def oracle_time(unit: Unit) -> OracleTime:
    """Time the oracle needs for one unit; a start in tolerance is only confirmed."""
    start = abs(unit.measurand_ma(0) - unit.target_ma)
    landing = _landing_ma(unit)
    settle_s = _settle_s(unit, unit.steady_ma(0))
    confirm_s = settle_s + _average_s(unit, landing, _CONFIRM)
    first_s = settle_s + _average_s(unit, landing, _LAND)
    again_s = _settle_s(unit, start) + _average_s(unit, landing, _LAND)
    if start <= 0.5 * unit.tolerance_ma:
        again_s = 0.0
    return OracleTime(first_s + confirm_s, first_s + again_s + confirm_s)


def _landing_ma(unit: Unit) -> float:
    """How far off the best count is."""
    if unit.gain_ma == 0:
        return 0.0
    need = (unit.target_ma - unit.measurand_ma(0)) / unit.gain_ma
    best = round(need)
    near = [abs(unit.measurand_ma(best + k) - unit.target_ma) for k in range(-6, 7)]
    return min(near)


def _settle_s(unit: Unit, step_ma: float) -> float:
    """Time until the reading of a step has come within a tenth of the tolerance."""
    left = _LEFT * unit.tolerance_ma / max(abs(step_ma), 1e-9)
    if left >= 1:
        return 0.0
    since_s = np.linspace(0, 30, 3001)
    short = 1 - window_step(unit, since_s) > left
    return float(since_s[np.flatnonzero(short)[-1] + 1])


def _average_s(unit: Unit, off_ma: float, quantile: float) -> float:
    """Time to average until an output `off_ma` off is in tolerance with that quantile."""
    room = max(unit.tolerance_ma - off_ma, 0.02 * unit.tolerance_ma)
    needed = (quantile * unit.noise * unit.target_ma / room) ** 2
    phi, n = unit.noise_phi, 1
    while _mean_variance(n, phi) > 1 / max(needed, 1e-12) and n < 5000:
        n += max(1, n // 20)
    return n * unit.interval_s


def _mean_variance(n: int, phi: float) -> float:
    """Variance of the mean of n readings of unit AR(1) noise."""
    return float((1 + phi) / (1 - phi) / n - 2 * phi * (1 - phi**n) / (n * (1 - phi)) ** 2)
