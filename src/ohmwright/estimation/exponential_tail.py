"""The exponential tail of one activation: its output at a stated age, free of lag.

After the dead time and one meter window the output of an activation is a level that droops, less
an exponential remainder of the lag and a faster one of the second pole. The amplitudes of both
remainders are free, so neither dead time, nor meter window, nor the place of the second pole has to
be known. Level, droop and amplitudes are integrated out exactly; lag and correlation of the noise
over a grid that is laid around the most probable lag.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import (
    CORRELATIONS,
    LOG_SHARES,
    Noise,
    Posterior,
    Prior,
    diagonal_prior,
    moments,
    regress,
    spikes,
)
from .mixture import Mixture, weights
from .thermal_droop import droop_shape

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_LAGS_S: Floats = np.geomspace(0.08, 3.5, 26)
_SECOND_POLE = 0.4
"""Time constant of the faster remainder over that of the slower."""
_RISEN = 0.1
"""The output has begun to rise when a reading exceeds this part of the last ones."""
_LEFT_TO_RISE = 0.45
"""The tail begins when no more than this part of the level is left to rise."""
_FEWEST = 5
"""Readings of the tail from which it is estimated."""
_LOCATING: Floats = np.array([0.3, 0.7])
"""Correlations tried while the lag is being located."""
_NOISE_SD, _NOISE_DOF = 0.002, 3.0


class _Column(IntEnum):
    """Columns of the regression; the readings come after them."""

    SLOW = 0
    """Amplitude of the lag's remainder."""
    FAST = 1
    """Amplitude of the second pole's remainder."""
    LEVEL = 2
    DROOP = 3


_MEAN: Floats = np.array([0.0, 0.0, 1.0, 0.0075])
_SD: Floats = np.array([0.5, 0.25, 1.0, 0.006])
"""Prior of the columns' coefficients, relative to the level."""
_REMAINDERS = slice(_Column.SLOW, _Column.LEVEL)


@dataclass(frozen=True)
class Tail:
    """Posterior of the output at the age asked for, free of lag, in the unit of the readings.

    `remainder`, `remainder_sd`: lag still to come after the last reading; `autocorrelation` of
    neighbouring readings; `dof`: effective degrees of freedom of the value.
    """

    value: Mixture
    remainder: float
    remainder_sd: float
    autocorrelation: float
    dof: float


@dataclass(frozen=True)
class _Problem:
    """The readings of the tail at `age_s` (n,), relative to their `level`.

    `shared` (n, 3): columns of level and droop, and the readings; `keep` (n,): those that count;
    `resolution`: the meter's last digit over the level.
    """

    age_s: Floats
    level: float
    keep: Flags
    shared: Floats
    resolution: float


def fit_tail(
    age_s: Floats,
    value: Floats,
    *,
    at_age_s: float,
    window_s: float,
    resolution: float,
    heat: float = 0.0,
) -> Tail | None:
    """Posterior from one activation's readings, shape (n,); None while they are too few.

    `heat`: warmth at the start, 0 rested to 1 warm through, where the whole droop is lost.
    """
    start = tail_start(age_s, value, window_s)
    if age_s.size - start < _FEWEST:
        return None
    level = float(np.median(value[-3:]))
    scaled = value[start:] / level
    droop = -droop_shape(age_s[start:], at_age_s, window_s, heat)
    shared = np.stack([np.ones_like(scaled), droop, scaled], axis=1)
    keep = np.ones(scaled.size, dtype=np.bool_)
    problem = _Problem(age_s[start:], level, keep, shared, resolution / level)
    lag_s, width, noise_variance, flags = _coarse(problem)
    if np.any(flags):
        keep &= ~flags
        lag_s, width, noise_variance, _ = _coarse(problem)
    return _fine(problem, lag_s, width, noise_variance)


def tail_start(age_s: Floats, value: Floats, window_s: float) -> int:
    """Index of the first reading in the tail, window included; their number if none is."""
    if value.size < _FEWEST:
        return int(value.size)
    last = float(np.median(value[-3:]))
    if last <= 0:
        return int(value.size)
    risen = np.flatnonzero((value[:-1] > _RISEN * last) & (value[1:] > _RISEN * last))
    if risen.size == 0:
        return int(value.size)
    begin_s = float(age_s[risen[0]]) + window_s
    whole = np.flatnonzero((age_s >= begin_s - 1e-9) & (value > (1 - _LEFT_TO_RISE) * last))
    return int(whole[0]) if whole.size else int(value.size)


def _with_lags(problem: _Problem, lags_s: Floats) -> Floats:
    """All columns and the readings for each of `lags_s`, shape (lags, n, 5)."""
    since_s = problem.age_s - problem.age_s[0]
    rate = since_s / lags_s[:, None]
    slow = np.exp(-rate)
    fast = np.exp(-rate / _SECOND_POLE)
    lags, n = slow.shape
    columns = np.empty((lags, n, _Column.LEVEL + problem.shared.shape[1]))
    columns[..., _Column.SLOW], columns[..., _Column.FAST] = slow, fast
    columns[..., _Column.LEVEL :] = problem.shared
    return columns


def _prior(noise_variance: float) -> Prior:
    """Prior of the columns' coefficients under noise of a variance."""
    return diagonal_prior(_MEAN, noise_variance / _SD**2)


def _noise(problem: _Problem) -> Noise:
    """Prior of the noise, the meter's resolution included."""
    return Noise(_NOISE_SD**2 + _floor(problem), _NOISE_DOF)


def _floor(problem: _Problem) -> float:
    """Variance that the meter's resolution causes."""
    return problem.resolution**2 / 12 + 1e-12


def _coarse(problem: _Problem) -> tuple[float, float, float, Flags]:
    """Most probable lag s, sd of its logarithm, variance of the noise, and flags of spikes (n,)."""
    # each column in one piece, so that sums round as in the records made so far
    columns = _with_lags(problem, _LAGS_S).transpose(2, 0, 1).copy().transpose(1, 2, 0)
    sums = moments(columns, problem.keep)
    variance = _NOISE_SD**2
    normal, starts = sums.whitened(_LOCATING), sums.start_terms(_LOCATING)
    for _ in range(2):
        fit = regress(normal, _prior(variance), _noise(problem), sums.count, starts)
        lag, corr = np.unravel_index(np.argmax(fit.log_evidence), fit.log_evidence.shape)
        variance = float(fit.scale2[lag, corr]) + _floor(problem)
    weight = weights(fit.log_evidence.max(axis=1))
    log_lag = np.log(_LAGS_S)
    centre = float(weight @ log_lag)
    half_step = 0.5 * float(log_lag[1] - log_lag[0])
    width = float(np.sqrt(weight @ (log_lag - centre) ** 2 + half_step**2))
    residual = columns[lag] @ np.append(-fit.mean[lag, corr], 1.0)
    flags = spikes(residual, float(_LOCATING[corr]), problem.keep)
    return float(np.exp(centre)), width, variance, flags


def _fine(problem: _Problem, lag_s: float, width: float, noise_variance: float) -> Tail:
    """Posterior over lags around `lag_s`, `width` being the sd of its logarithm."""
    offsets = np.linspace(-2.6, 2.6, 9) * width
    lags_s = np.clip(lag_s * np.exp(offsets), 0.03, 6.0)
    sums = moments(_with_lags(problem, lags_s), problem.keep)
    normal = sums.whitened(CORRELATIONS)
    starts = sums.start_terms(CORRELATIONS) + LOG_SHARES
    fit = regress(normal, _prior(noise_variance), _noise(problem), sums.count, starts)
    weight = weights(fit.log_evidence)
    last_s = problem.age_s[-1] - problem.age_s[0]
    remainder, remainder_sd = _lag_to_come(last_s, lags_s, fit, weight)
    variance = fit.scale2 * fit.covariance[..., _Column.LEVEL, _Column.LEVEL] + _floor(problem)
    phi = float(weight.sum(axis=0) @ CORRELATIONS)
    level = problem.level
    return Tail(
        value=Mixture(
            weight, level * fit.mean[..., _Column.LEVEL], level * np.sqrt(variance), fit.dof
        ),
        remainder=level * remainder,
        remainder_sd=level * remainder_sd,
        autocorrelation=phi,
        dof=max(1.0, fit.dof * (1 - phi) / (1 + phi)),
    )


def _lag_to_come(
    last_s: float, lags_s: Floats, fit: Posterior, weight: Floats
) -> tuple[float, float]:
    """Mean and sd of both remainders' sum at `last_s`, over lags and correlations by `weight`."""
    decay = np.exp(-last_s / lags_s[:, None] / np.array([1.0, _SECOND_POLE]))
    amplitude = fit.mean[..., _REMAINDERS]
    covariance = fit.covariance[..., _REMAINDERS, _REMAINDERS]
    to_come = np.einsum("li,lci->lc", decay, amplitude)
    variance = fit.scale2 * np.einsum("li,lcij,lj->lc", decay, covariance, decay)
    mean = float(np.vdot(weight, to_come))
    return mean, float(np.sqrt(np.vdot(weight, variance + (to_come - mean) ** 2)))
