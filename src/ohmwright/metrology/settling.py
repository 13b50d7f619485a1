"""The settled value of one activation: what the output would be at an age without its lag.

The readings are `a + b g(t) + c exp(-t/tau)`: a level, the slow thermal drift `g`, and what is
left of the lag from switching on. Level and drift are the measurand, the lag's remainder is not.
For each `tau` of a grid the rest is linear; the answers are averaged with the weights the data
give them (Bayesian model averaging), so that an unknown lag widens the uncertainty
instead of biasing the value. Noise is AR(1): its correlation is estimated from the
residuals and whitened away, so neighbouring readings do not count as independent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DRIFT_TAU_S = 8.0
"""Time constant of the thermal drift; over one activation its exact value hardly matters."""
DRIFT_SD = 0.015
"""Prior standard deviation of the drift, relative to the value."""
_LAGS_S = np.geomspace(0.2, 2.5, 24)
_SKIP_S = 1.0
"""Dead time, at most this, and the meter's window are left out: there no exponential holds yet."""
_FEWEST = 8
_SPIKE = 5.0
_REMAINDER = 0.002
_MODEL = 0.0005
"""What the fixed drift time constant may cost, relative to the value."""


@dataclass(frozen=True)
class Settled:
    """A value with its standard uncertainty, in the unit of the readings."""

    value: float
    uncertainty: float
    dof: float
    autocorrelation: float
    settled: bool
    reason: str = ""


def assess(
    age_s: Floats, value: Floats, *, at_age_s: float, window_s: float, resolution: float
) -> Settled:
    """Estimate the lag-free output at `at_age_s` from the readings of one rested activation.

    `age_s`, `value`: shape (n,), each reading the mean over `window_s` ending at its age.
    `settled` is False, with the reason, while readings are too few or the remaining lag
    is neither small against the value nor against its uncertainty.
    """
    keep = age_s >= _SKIP_S + window_s
    t, y = age_s[keep], value[keep]
    if t.size < _FEWEST:
        mean = float(np.mean(y)) if t.size else float("nan")
        return Settled(mean, float("inf"), 1.0, 0.0, False, "too few readings")
    t, y = _without_spikes(t, y)
    design = _design(t, at_age_s, window_s)
    phi = 0.0
    for _ in range(3):
        fit = _averaged_fit(design, y, phi, resolution)
        phi = _autocorrelation(fit.residuals)
    remainder = abs(fit.remainder)
    allowed = max(2 * fit.uncertainty, _REMAINDER * abs(fit.value))
    settled = remainder <= allowed
    reason = "" if settled else "the output is still rising or falling"
    return Settled(fit.value, fit.uncertainty, fit.dof, phi, settled, reason)


@dataclass(frozen=True)
class _Fit:
    value: float
    uncertainty: float
    dof: float
    remainder: float
    residuals: Floats


def _design(t: Floats, at_age_s: float, window_s: float) -> Floats:
    """Columns level, drift, lag; shape (lags, n, 3). The lag's column is 1 at the last reading."""
    window = window_s / DRIFT_TAU_S
    mean = np.expm1(window) / window if window > 0 else 1.0
    drift = mean * np.exp(-t / DRIFT_TAU_S) - np.exp(-at_age_s / DRIFT_TAU_S)
    lag = np.exp(-(t - t[-1]) / _LAGS_S[:, None])
    design = np.empty((_LAGS_S.size, t.size, 3))
    design[:, :, 0], design[:, :, 1], design[:, :, 2] = 1.0, drift, lag
    return design


def _averaged_fit(design: Floats, y: Floats, phi: float, resolution: float) -> _Fit:
    """Whitened least squares for every lag at once, averaged with the data's weights."""
    n = y.size
    white_x = _whiten(design.swapaxes(0, 1), phi).swapaxes(0, 1)
    white_y = _whiten(y, phi)
    scale = max(abs(float(y[-1])), resolution)
    noise = max(float(np.std(np.diff(white_y))) / np.sqrt(2), resolution / np.sqrt(12))
    prior = np.diag([0.0, (noise / (DRIFT_SD * scale)) ** 2, (noise / scale) ** 2])
    normal = white_x.swapaxes(1, 2) @ white_x + prior
    inverse = np.linalg.inv(normal)
    coefficients = (inverse @ (white_x.swapaxes(1, 2) @ white_y)[:, :, None])[:, :, 0]
    residuals = white_y - (white_x @ coefficients[:, :, None])[:, :, 0]
    penalty = np.einsum("ki,ij,kj->k", coefficients, prior, coefficients)
    squares = np.sum(residuals**2, axis=1) + penalty + n * resolution**2 / 12
    dof = max(1.0, n - 3.0)
    log_weight = -0.5 * dof * np.log(squares / squares.min()) - 0.5 * np.linalg.slogdet(normal)[1]
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    level = coefficients[:, 0]
    value = float(weight @ level)
    variance = weight @ (squares / dof * inverse[:, 0, 0] + (level - value) ** 2)
    floor = resolution**2 / 12 + (_MODEL * value) ** 2
    best = int(np.argmax(weight))
    plain = y - design[best] @ coefficients[best]
    return _Fit(
        value, float(np.sqrt(variance + floor)), dof, float(weight @ coefficients[:, 2]), plain
    )


def _whiten(x: Floats, phi: float) -> Floats:
    """Turn AR(1) noise along the first axis into white noise of the innovations' size."""
    white = x.copy()
    white[1:] -= phi * x[:-1]
    white[0] *= np.sqrt(1 - phi**2)
    return white


def _autocorrelation(residuals: Floats) -> float:
    """Lag-1 autocorrelation, kept to 0..0.95.

    Corrected for the bias that a short series and three fitted terms bring.
    """
    energy = float(residuals @ residuals)
    if energy == 0:
        return 0.0
    n = residuals.size
    raw = float(residuals[1:] @ residuals[:-1]) / energy
    return float(np.clip(raw + (2 + 6 * raw) / n, 0.0, 0.95))


def _without_spikes(t: Floats, y: Floats) -> tuple[Floats, Floats]:
    """Drop readings that stand far off what their neighbours say."""
    padded = np.concatenate(([y[1]], y, [y[-2]]))
    apart = y - np.median([padded[:-2], y, padded[2:]], axis=0)
    spread = 1.4826 * float(np.median(np.abs(np.diff(y))))
    keep = np.abs(apart) <= max(_SPIKE * spread, 1e-12 + 1e-6 * float(np.max(np.abs(y))))
    return (t[keep], y[keep]) if np.count_nonzero(keep) >= _FEWEST else (t, y)
