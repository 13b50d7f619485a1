"""Bayesian linear regression under AR(1) noise, for many designs and correlations at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]

CORRELATIONS: Floats = np.array([0.0, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9])
"""Grid over which the correlation of neighbouring readings is averaged out."""


@dataclass(frozen=True)
class Moments:
    """Cross products of the columns, from which any correlation's whitened ones follow.

    Each has shape (..., q, q), with the readings as the last column. `lagged` is symmetrised.
    """

    now: Floats
    lagged: Floats
    before: Floats
    first: Floats
    count: float

    def whitened(self, correlations: Floats) -> Floats:
        """Normal matrices, shape (..., correlations, q, q)."""
        phi = correlations[:, None, None]
        return (
            self.now[..., None, :, :]
            - phi * self.lagged[..., None, :, :]
            + phi**2 * self.before[..., None, :, :]
            + (1 - phi**2) * self.first[..., None, :, :]
        )


def moments(columns: Floats, keep: NDArray[np.bool_]) -> Moments:
    """Cross products of `columns`, shape (..., n, q).

    A reading whose `keep` is False counts for nothing, neither itself nor as a neighbour.
    """
    pairs = keep[1:] & keep[:-1]
    after = columns[..., 1:, :][..., pairs, :]
    before = columns[..., :-1, :][..., pairs, :]
    starts = np.flatnonzero(keep & ~np.concatenate(([False], pairs)))
    first = columns[..., starts, :]
    cross = after.swapaxes(-1, -2) @ before
    return Moments(
        now=after.swapaxes(-1, -2) @ after,
        lagged=cross + cross.swapaxes(-1, -2),
        before=before.swapaxes(-1, -2) @ before,
        first=first.swapaxes(-1, -2) @ first,
        count=float(np.count_nonzero(keep)),
    )


@dataclass(frozen=True)
class Posterior:
    """What the data say of the coefficients, for each member of the grid.

    mean (..., p); covariance (..., p, p) for unit noise variance times `scale2` (...); Student t
    with `dof`; `log_evidence` (...) up to a constant shared by the grid.
    """

    mean: Floats
    covariance: Floats
    scale2: Floats
    dof: float
    log_evidence: Floats


@dataclass(frozen=True)
class Noise:
    """Prior of the noise: `variance` as if it had been seen in `dof` readings before."""

    variance: float
    dof: float


def regress(
    normal: Floats,
    prior_mean: Floats,
    prior_precision: Floats,
    noise: Noise,
    count: float,
    starts_log: Floats | float = 0.0,
) -> Posterior:
    """Conjugate posterior from whitened `normal` matrices, shape (..., p + 1, p + 1).

    `prior_precision` (..., p) is diagonal, in units of one over the noise variance.
    """
    p = normal.shape[-1] - 1
    precision = normal[..., :p, :p].copy()
    diagonal = np.arange(p)
    precision[..., diagonal, diagonal] += prior_precision
    pull = normal[..., :p, p] + prior_precision * prior_mean
    covariance = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    mean = (covariance @ pull[..., None])[..., 0]
    squares = (
        normal[..., p, p]
        + np.sum(prior_precision * prior_mean**2, axis=-1)
        - np.sum(mean * pull, axis=-1)
    )
    dof = noise.dof + count
    total = np.maximum(squares, 0.0) + noise.dof * noise.variance
    log_determinant = np.linalg.slogdet(precision)[1] - np.sum(np.log(prior_precision), axis=-1)
    scale2: Floats = total / dof
    log_evidence: Floats = starts_log - 0.5 * log_determinant - 0.5 * dof * np.log(total)
    return Posterior(mean, covariance, scale2, dof, log_evidence)


def start_terms(correlations: Floats, starts: int = 1) -> Floats:
    """The part of the log likelihood that the first reading of each unbroken run adds."""
    return 0.5 * starts * np.log1p(-(correlations**2))
