"""Posteriors of an activation's output by brute force: sums over grids, nothing linearised.

Independent of `estimation`: two lags in a row after a dead time, an output that droops as it warms,
a meter that averages, Gaussian noise with AR(1) correlation, whose size is integrated over too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

Floats = NDArray[np.float64]
_PARTS = 20
"""Pieces into which the meter's window is cut to average over it."""


@dataclass(frozen=True)
class Gaussian:
    """What is known of the linear coefficients before: mean and sd, shape (p,)."""

    mean: Floats
    sd: Floats


@dataclass(frozen=True)
class Members:
    """Posterior as a mixture of normal distributions: `weight`, `mean` (m, p), `cov` (m, p, p)."""

    weight: Floats
    mean: Floats
    cov: Floats

    def moments(self, factors: Floats) -> tuple[float, float]:
        """Mean and sd of a combination of the coefficients with `factors`, (p,) or (m, p)."""
        centre = np.sum(self.mean * factors, axis=-1)
        along = np.broadcast_to(factors, self.mean.shape)
        variance = np.einsum("mi,mij,mj->m", along, self.cov, along)
        mean = float(self.weight @ centre)
        return mean, float(np.sqrt(self.weight @ (variance + (centre - mean) ** 2)))


def readings_per_unit(
    age_s: Floats, window_s: float, *, lag_s: float, second_s: float, dead_s: float
) -> Floats:
    """Means over the window before each of `age_s` of the response to a step at age 0."""
    parts_s = window_s * (np.arange(_PARTS) + 0.5) / _PARTS
    since_s = np.maximum(age_s[:, None] - parts_s - dead_s, 0.0)
    slow, fast = lag_s * np.exp(-since_s / lag_s), second_s * np.exp(-since_s / second_s)
    response: Floats = (1.0 - (slow - fast) / (lag_s - second_s)).mean(axis=1)
    return response


def posterior(
    designs: Floats,
    readings: Floats,
    prior: Gaussian,
    *,
    log_prior: Floats,
    correlations: Sequence[tuple[float, float]],
    noise_sds: Floats,
    relative_shape_sd: float,
) -> Members:
    """Posterior over designs (d, n, p), correlations with their shares, and sizes of the noise.

    `log_prior` (d,) of the designs; `noise_sds`, of the shocks, are all equally likely;
    `relative_shape_sd`: by how many noises readings leave the first column, the output of 1, per
    part of it left to rise. That lowers their weight and, as in any reweighted regression, is no
    part of the likelihood.
    """
    log_weight, means, covariances = [], [], []
    precision = np.diag(prior.sd**-2)
    for phi, share in correlations:
        weight = 1 / np.hypot(1.0, relative_shape_sd * (1 - designs[..., 0]))
        x = _whitened(designs * weight[..., None], phi)
        y = _whitened((readings * weight)[..., None], phi)[..., 0]
        normal, pull = x.swapaxes(1, 2) @ x, np.einsum("dnp,dn->dp", x, y)
        for sd in noise_sds:
            total = normal / sd**2 + precision
            covariance = np.linalg.inv(total)
            drawn = pull / sd**2 + precision @ prior.mean
            mean = (covariance @ drawn[..., None])[..., 0]
            misfit = np.sum(y * y, axis=1) / sd**2 + prior.mean @ precision @ prior.mean
            misfit = misfit - np.sum(mean * drawn, axis=1)
            likely = -0.5 * misfit - 0.5 * np.linalg.slogdet(total)[1] - readings.size * np.log(sd)
            log_weight.append(likely + 0.5 * np.log1p(-(phi**2)) + np.log(share) + log_prior)
            means.append(mean)
            covariances.append(covariance)
    log_weights = np.concatenate(log_weight)
    return Members(
        np.exp(log_weights - logsumexp(log_weights)),
        np.concatenate(means),
        np.concatenate(covariances),
    )


def _whitened(columns: Floats, phi: float) -> Floats:
    """Columns (..., n, q) free of the correlation, by its Cholesky factor."""
    n = columns.shape[-2]
    apart = np.abs(np.subtract.outer(np.arange(n), np.arange(n)))
    factor = np.linalg.cholesky(phi**apart / (1.0 - phi**2))
    white: Floats = np.linalg.solve(factor, columns)
    return white


def design_grid(
    age_s: Floats, window_s: float, at_age_s: float, start: Floats, sd: Floats
) -> tuple[Floats, Floats]:
    """Logarithms of lag, dead time and ratio of the lags around `start`; columns for each.

    The columns, shape (d, n, 2), are the readings of an output of 1 and what they lose per unit of
    droop; the grid reaches 3.3 of `sd` to each side, (3, 3) being their directions.
    """
    steps = np.linspace(-3.3, 3.3, 9)
    units = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(-1, 3)
    grid = start + units @ sd.T
    grid = grid[(grid[:, 2] > np.log(0.005)) & (grid[:, 2] < np.log(0.97))]
    rows = []
    for lag_s, dead_s, ratio in np.exp(grid):
        warm_s = age_s - 0.5 * window_s - dead_s - lag_s * (1 + ratio)
        droop = np.exp(-at_age_s / 8.0) - np.exp(-warm_s / 8.0)
        shown = readings_per_unit(
            age_s, window_s, lag_s=lag_s, second_s=lag_s * ratio, dead_s=dead_s
        )
        rows.append(np.stack([shown, -shown * droop], axis=1))
    return grid, np.array(rows)
