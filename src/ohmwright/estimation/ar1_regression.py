"""Bayesian linear regression under AR(1) noise, for many designs and correlations at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

CORRELATIONS: Floats = np.array([0.0, 0.3, 0.5, 0.7, 0.88])
"""Grid over which the correlation of neighbouring readings is averaged out."""
LOG_SHARES: Floats = np.log(np.array([0.15, 0.25, 0.25, 0.25, 0.1]))
"""Prior of that grid."""
_SPIKE = 6.0


@dataclass(frozen=True)
class Moments:
    """Cross products of the columns, from which any correlation's whitened ones follow.

    Each has shape (..., q, q), with the readings as the last column; `lagged` is symmetrised.
    """

    now: Floats
    lagged: Floats
    before: Floats
    first: Floats
    count: int
    starts: int

    def whitened(self, correlations: Floats) -> Floats:
        """Normal matrices, shape (..., correlations, q, q)."""
        phi = correlations
        shares = np.stack([np.ones_like(phi), -phi, phi**2, 1 - phi**2], axis=1)
        parts = np.stack([self.now, self.lagged, self.before, self.first], axis=-3)
        flat = shares @ parts.reshape(*parts.shape[:-2], -1)
        whitened: Floats = flat.reshape(*flat.shape[:-1], *parts.shape[-2:])
        return whitened

    def start_terms(self, correlations: Floats) -> Floats:
        """What each unbroken run's first reading adds to the log likelihood."""
        terms: Floats = 0.5 * self.starts * np.log1p(-(correlations**2))
        return terms


def moments(columns: Floats, keep: Flags) -> Moments:
    """Cross products of `columns`, shape (..., n, q).

    A reading whose `keep` is False counts for nothing, neither itself nor as a neighbour.
    """
    pairs = keep[1:] & keep[:-1]
    if np.all(pairs):
        after, before = columns[..., 1:, :], columns[..., :-1, :]
        first = columns[..., :1, :]
    else:
        after, before = columns[..., 1:, :][..., pairs, :], columns[..., :-1, :][..., pairs, :]
        first = columns[..., keep & ~np.concatenate(([False], pairs)), :]
    flipped = after.swapaxes(-1, -2)
    cross = flipped @ before
    return Moments(
        now=flipped @ after,
        lagged=cross + cross.swapaxes(-1, -2),
        before=before.swapaxes(-1, -2) @ before,
        first=first.swapaxes(-1, -2) @ first,
        count=int(np.count_nonzero(keep)),
        starts=int(first.shape[-2]),
    )


@dataclass(frozen=True)
class Prior:
    """Gaussian prior of the coefficients as a normal matrix, shape (..., p + 1, p + 1).

    The last row holds precision times mean. Precisions are over the noise variance.
    """

    normal: Floats
    log_determinant: Floats | float


def diagonal_prior(mean: Floats, precision: Floats) -> Prior:
    """Independent coefficients with `mean` and `precision`, shape (..., p)."""
    p = precision.shape[-1]
    normal = np.zeros((*precision.shape[:-1], p + 1, p + 1))
    index = np.arange(p)
    normal[..., index, index] = precision
    normal[..., index, p] = normal[..., p, index] = precision * mean
    normal[..., p, p] = np.sum(precision * mean**2, axis=-1)
    return Prior(normal, np.sum(np.log(precision), axis=-1))


@dataclass(frozen=True)
class Noise:
    """Prior of the noise: `variance` as if it had been seen in `dof` readings before."""

    variance: float
    dof: float


@dataclass(frozen=True)
class Posterior:
    """What the data say of the coefficients, for each member of the grid.

    mean (..., p); covariance (..., p, p) for unit noise variance, times `scale2` (...); Student t
    with `dof`; `log_evidence` (...) up to a constant shared by the grid.
    """

    mean: Floats
    covariance: Floats
    scale2: Floats
    dof: float
    log_evidence: Floats


def regress(
    normal: Floats, prior: Prior, noise: Noise, count: int, start_terms: Floats | float
) -> Posterior:
    """Conjugate posterior from whitened `normal` matrices, shape (..., p + 1, p + 1)."""
    p = normal.shape[-1] - 1
    total = normal + prior.normal
    precision, pull = total[..., :p, :p], total[..., :p, p]
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    mean = (covariance @ pull[..., None])[..., 0]
    squares = total[..., p, p] - np.sum(mean * pull, axis=-1)
    dof = noise.dof + count
    scale2: Floats = (np.maximum(squares, 0.0) + noise.dof * noise.variance) / dof
    log_determinant = np.linalg.slogdet(precision)[1] - prior.log_determinant
    log_evidence: Floats = start_terms - 0.5 * log_determinant - 0.5 * dof * np.log(scale2)
    return Posterior(mean, covariance, scale2, dof, log_evidence)


def spikes(residual: Floats, correlation: float, keep: Flags) -> Flags:
    """Readings at which the noise jumps there and back, beyond what it ever does."""
    flags = np.zeros_like(keep)
    white = residual[1:] - correlation * residual[:-1]
    if white.size < 6:
        return flags
    spread = 1.4826 * _median(np.abs(white)) + 1e-9
    back = np.append(white[1:] * white[:-1] < 0, True)
    flags[1:] = (np.abs(white) > _SPIKE * spread) & back
    return flags


def _median(values: Floats) -> float:
    """As numpy's, which takes far longer for so few."""
    ordered = np.sort(values)
    middle = ordered.size // 2
    return float(ordered[middle] + ordered[~middle]) / 2
