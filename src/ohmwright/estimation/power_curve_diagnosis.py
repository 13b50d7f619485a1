"""Which sense of a generator has drifted, from its as-found power curve.

The generator regulates what its sensors say,
P(R) = (P_set^-k + (I_max^2 R)^-k + (V_max^2/R)^-k)^(-1/k). A current sense that reads g_i times too
high makes the true current 1/g_i of what was set, a voltage sense g_v the true voltage 1/g_v, and
the product with the phase term g_x the true power 1/(g_i g_v g_x). So each of the three limits
shows one gain. In logarithms that is linear but for the rounded corners, hence Gauss-Newton.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Sense = Literal["current", "voltage", "phase"]
SENSES: tuple[Sense, ...] = ("current", "voltage", "phase")


_MODEL = 0.002
"""Standard uncertainty of the law itself, relative to the power."""
_SLOPE_STEP = 1e-5
_USUAL_SHARPNESS = 6.0
_NOT_DRIFTED_SD, _DRIFTED_SD = 0.004, 0.06
"""Prior standard deviation of a gain that has not drifted, and of one that has."""


@dataclass(frozen=True)
class OutputLimits:
    """A mode's limits of power, current and voltage at a setting; `sharpness`: exponent k."""

    power_w: float
    current_a: float
    voltage_v: float
    sharpness: float = 4.0

    def power(self, load_ohm: Floats, gains: Floats | None = None) -> Floats:
        """True output, W, into `load_ohm` (n,); `gains` (3,): current, voltage, phase, else 1."""
        g_i, g_v, g_x = (1.0, 1.0, 1.0) if gains is None else gains
        k = self.sharpness
        inverse = (
            (self.power_w / (g_i * g_v * g_x)) ** -k
            + ((self.current_a / g_i) ** 2 * load_ohm) ** -k
            + ((self.voltage_v / g_v) ** 2 / load_ohm) ** -k
        )
        power: Floats = inverse ** (-1 / k)
        return power


def nominal_limits(load_ohm: Floats, target_w: Floats, setting_w: float) -> OutputLimits:
    """The limits that a maker's curve of targets implies; arrays of shape (n,), n >= 3.

    The power limit is the setting. Current limit, voltage limit and sharpness are found by
    Gauss-Newton in their logarithms.
    """
    low, high = int(np.argmin(load_ohm)), int(np.argmax(load_ohm))
    first = np.log(
        [
            np.sqrt(target_w[low] / load_ohm[low]),
            np.sqrt(target_w[high] * load_ohm[high]),
            _USUAL_SHARPNESS,
        ]
    )
    sd = np.array([0.1, 0.1, 0.5])

    def log_power(logs: Floats) -> Floats:
        """Logarithm of the power, W, at each load, from those of current, voltage, sharpness."""
        current, voltage, sharpness = np.exp(logs)
        limits = OutputLimits(setting_w, float(current), float(voltage), float(sharpness))
        return np.asarray(np.log(limits.power(load_ohm)), dtype=np.float64)

    logs = first
    for _ in range(8):
        base = log_power(logs)
        slopes = np.stack(
            [(log_power(logs + step) - base) / _SLOPE_STEP for step in _SLOPE_STEP * np.eye(3)], 1
        )
        white, residual = slopes / _MODEL, (np.log(target_w) - base) / _MODEL
        precision = white.T @ white + np.diag(sd**-2.0)
        pull = white.T @ residual + (first - logs) / sd**2
        logs = logs + np.clip(np.linalg.solve(precision, pull), -0.3, 0.3)
    current, voltage, sharpness = (float(each) for each in np.exp(logs))
    return OutputLimits(setting_w, current, voltage, sharpness)


@dataclass(frozen=True)
class PowerCurve:
    """An as-found power curve; arrays of shape (n,); uncertainties standard, W."""

    load_ohm: Floats
    measured_w: Floats
    uncertainty_w: Floats


@dataclass(frozen=True)
class Diagnosis:
    """Gain of each sense, its standard uncertainty, and the probability that it has drifted.

    `culprit`: the sense that most probably causes the largest error, None if none has probably
    drifted. `misfit`: chi square over degrees of freedom; far above 1 the curve is not of this law.
    """

    gain: Mapping[Sense, float]
    sd: Mapping[Sense, float]
    drifted: Mapping[Sense, float]
    culprit: Sense | None
    misfit: float


def diagnose(curve: PowerCurve, limits: OutputLimits) -> Diagnosis:
    """Gains from a curve, averaged over the eight cases of which senses have drifted.

    Each case is weighed by its evidence; a sense that has drifted has a wide prior around 1, one
    that has not a narrow one.
    """
    subsets = np.array([[bool(i >> bit & 1) for bit in range(3)] for i in range(8)])
    fits = [_fit(curve, limits, np.where(s, _DRIFTED_SD, _NOT_DRIFTED_SD)) for s in subsets]
    log_weight = np.array([fit.log_evidence for fit in fits]) + _log_share(subsets)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = weight @ np.array([fit.mean for fit in fits])
    variance = weight @ np.array([np.diag(f.covariance) + (f.mean - mean) ** 2 for f in fits])
    drifted = weight @ subsets
    worst = int(np.argmax(drifted * np.abs(mean)))
    return Diagnosis(
        gain=_by_sense(np.exp(mean)),
        sd=_by_sense(np.exp(mean) * np.sqrt(variance)),
        drifted=_by_sense(drifted),
        culprit=SENSES[worst] if drifted[worst] > 0.5 else None,
        misfit=min(fit.chi2 for fit in fits) / max(1, curve.load_ohm.size - 3),
    )


def _log_share(subsets: NDArray[np.bool_]) -> Floats:
    """Logarithm of the prior probability of each case, shape (8,): fewer drifted are likelier."""
    share: Floats = np.log(np.array([0.4, 0.15, 0.03, 0.01]))[subsets.sum(axis=1)]
    return share


def _by_sense(values: Floats) -> dict[Sense, float]:
    """Values of shape (3,) by the name of their sense."""
    return {sense: float(value) for sense, value in zip(SENSES, values, strict=True)}


@dataclass(frozen=True)
class _Fit:
    """Posterior of the gains' logarithms: `mean` (3,), `covariance` (3, 3), its evidence."""

    mean: Floats
    covariance: Floats
    chi2: float
    log_evidence: float


def _fit(curve: PowerCurve, limits: OutputLimits, prior_sd: Floats) -> _Fit:
    """Posterior by Gauss-Newton under a Gaussian prior around gain 1, `prior_sd` (3,)."""
    logs: Floats = np.zeros(3)
    sd = np.hypot(curve.uncertainty_w / curve.measured_w, _MODEL)
    measured = np.log(curve.measured_w)
    for _ in range(4):
        base = np.log(limits.power(curve.load_ohm, np.exp(logs)))
        slopes = np.empty((curve.load_ohm.size, 3))
        for i in range(3):
            moved = logs.copy()
            moved[i] += _SLOPE_STEP
            slopes[:, i] = (
                np.log(limits.power(curve.load_ohm, np.exp(moved))) - base
            ) / _SLOPE_STEP
        white = slopes / sd[:, None]
        precision = white.T @ white + np.diag(prior_sd**-2.0)
        residual = (measured - base) / sd
        pull = white.T @ (residual + white @ logs)
        logs = np.asarray(np.linalg.solve(precision, pull), dtype=np.float64)
    residual = (measured - np.log(limits.power(curve.load_ohm, np.exp(logs)))) / sd
    chi2 = float(residual @ residual)
    penalty = chi2 + float(np.sum((logs / prior_sd) ** 2))
    log_determinant = float(np.linalg.slogdet(precision)[1] + 2 * np.sum(np.log(prior_sd)))
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    return _Fit(logs, covariance, chi2, -0.5 * (penalty + log_determinant))
