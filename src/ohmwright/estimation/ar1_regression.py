"""Bayesian linear regression under AR(1) noise, for many designs and correlations at once.

A design has p columns and n readings; the readings are the last of q = p + 1 columns. Leading axes
(...) are those of the cases that are computed at once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

CORRELATIONS: Floats = np.array([0.0, 0.3, 0.5, 0.7, 0.88])
"""Correlations of neighbouring readings over which estimates are averaged."""
LOG_SHARES: Floats = np.log(np.array([0.15, 0.25, 0.25, 0.25, 0.1]))
"""Logarithm of the prior probability of each correlation."""
_LEAST_RESIDUAL = 1e-12
"""Added to the residual sum of squares, which is 0 where the columns fit the readings exactly."""
_MANY = 20
"""Number of triangular matrices above which it is quicker to invert all at once, row by row."""
_ALL = slice(None)
_SPIKE = 6.0
"""Robust standard deviations of the whitened residual beyond which a jump there and back is one."""


@dataclass(frozen=True)
class Moments:
    """Cross products of the columns, from which the normal matrix at any correlation follows.

    A start is a reading that follows none that counts. `products` (..., 4, q, q) are sums over
    readings: each that is no start with itself, and with the one before (both ways round); each one
    before with itself; each start with itself. `count`: readings that count; `starts`: of them.
    """

    products: Floats
    count: int
    starts: int

    def whitened(self, correlations: Floats) -> Floats:
        """Normal matrices of the whitened columns, shape (..., correlations, q, q)."""
        return self._combined(_factors(correlations))

    def start_terms(self, correlations: Floats) -> Floats:
        """Terms of the log likelihood from the starts, shape (correlations,)."""
        terms: Floats = 0.5 * self.starts * _start_logs(correlations)
        return terms

    def on_the_grid(self) -> tuple[Floats, Floats]:
        """Normal matrices of one case under each of `CORRELATIONS`, (correlations, 1, q, q).

        And terms of the log likelihood, (correlations, 1), the shares of the correlations included.
        """
        terms = 0.5 * self.starts * _GRID_LOGS + LOG_SHARES
        return self._combined(_GRID_FACTORS)[:, None], terms[:, None]

    def _combined(self, factors: Floats) -> Floats:
        """Sums of the products, (..., c, q, q), each by a row of `factors`, shape (c, 4)."""
        *cases, parts, q, _ = self.products.shape
        flat = factors @ self.products.reshape(*cases, parts, q * q)
        combined: Floats = flat.reshape(*cases, factors.shape[0], q, q)
        return combined


def _factors(phi: Floats) -> Floats:
    """Factors of the products of `Moments`, (correlations, 4), at the correlations `phi`."""
    # (x - phi before) squared, and of a start (1 - phi²) x squared
    factors: Floats = np.array([np.ones_like(phi), -phi, phi**2, 1 - phi**2]).T
    return factors


def _start_logs(phi: Floats) -> Floats:
    """Logarithms of 1 - phi², (correlations,), the precision of a start over that of others."""
    logs: Floats = np.log1p(-(phi**2))
    return logs


# wanted at every step of a fit
_GRID_FACTORS = _factors(CORRELATIONS)
_GRID_LOGS = _start_logs(CORRELATIONS)


def moments(columns: Floats, keep: Flags) -> Moments:
    """Cross products of `columns`, shape (..., n, q), over the readings to `keep`, shape (n,).

    A reading that is not kept does not count, and the next one is a start.
    """
    count = int(np.count_nonzero(keep))
    if count == keep.size:
        after, before = columns[..., 1:, :], columns[..., :-1, :]
        first = columns[..., :1, :]
    else:
        pairs = keep[1:] & keep[:-1]
        after, before = columns[..., 1:, :][..., pairs, :], columns[..., :-1, :][..., pairs, :]
        first = columns[..., keep & ~np.concatenate(([False], pairs)), :]
    flipped = after.swapaxes(-1, -2)
    cross = flipped @ before
    products = np.empty((*columns.shape[:-2], 4, *cross.shape[-2:]))
    products[..., 0, :, :] = flipped @ after
    products[..., 1, :, :] = cross + cross.swapaxes(-1, -2)
    products[..., 2, :, :] = before.swapaxes(-1, -2) @ before
    products[..., 3, :, :] = first.swapaxes(-1, -2) @ first
    return Moments(products, count, first.shape[-2])


@dataclass(frozen=True)
class Prior:
    """Gaussian prior of the coefficients as a normal matrix, shape (..., p + 1, p + 1).

    The last row and column hold precision times mean, and mean times precision times mean. A
    precision is the variance of the noise over that of the coefficient. `log_determinant`: of the
    precision, up to a constant for all cases.
    """

    normal: Floats
    log_determinant: Floats | float


def diagonal_prior(mean: Floats, precision: Floats) -> Prior:
    """Prior of independent coefficients with `mean` and `precision`, each (..., p)."""
    p = precision.shape[-1]
    normal = np.zeros((*precision.shape[:-1], p + 1, p + 1))
    index = np.arange(p)
    normal[..., index, index] = precision
    normal[..., index, p] = normal[..., p, index] = precision * mean
    normal[..., p, p] = np.sum(precision * mean**2, axis=-1)
    return Prior(normal, np.sum(np.log(precision), axis=-1))


@dataclass(frozen=True)
class Noise:
    """Prior of the noise: its `variance`, which weighs as much as `dof` readings."""

    variance: float
    dof: float


def covariances(spread: Floats) -> Floats:
    """Covariances, shape (..., k, k), of coefficients that have this `spread`."""
    found: Floats = spread.swapaxes(-1, -2) @ spread
    return found


@dataclass(frozen=True)
class Posterior:
    """Posterior of the last k coefficients of each case, a multivariate Student t with `dof`.

    `mean` (..., k); `spread` (..., k, k), lower triangular: its transpose times itself is the
    covariance where the variance of the noise, `scale2` (...), is 1; `log_evidence` (...) up to a
    constant for all cases.
    """

    mean: Floats
    spread: Floats
    scale2: Floats
    dof: float
    log_evidence: Floats

    @property
    def covariance(self) -> Floats:
        """Covariances (..., k, k), to be multiplied by `scale2`."""
        return covariances(self.spread)


@dataclass(frozen=True)
class Decomposition:
    """How well each case explains its readings; `posterior` gives the coefficients.

    `root` (..., q, q): Cholesky factor of the normal matrix of readings and prior; `scale2` (...):
    variance of the noise; `log_evidence` (...): log marginal likelihood up to a constant.
    """

    root: Floats
    scale2: Floats
    dof: float
    log_evidence: Floats

    def posterior(self, last: int, chosen: Flags | int | slice = _ALL) -> Posterior:
        """Posterior of the `last` coefficients, those before them being integrated out.

        `chosen`: the cases that are wanted, as an index of the first axis, or as flags (...), by
        which their axes become one.
        """
        root, scale2, evidence = self.root[chosen], self.scale2[chosen], self.log_evidence[chosen]
        p = root.shape[-1] - 1
        wanted = slice(p - last, p)
        inverse = _inverse(root[..., wanted, wanted])
        mean: Floats = (root[..., p, None, wanted] @ inverse)[..., 0, :]
        return Posterior(mean, inverse, scale2, self.dof, evidence)


def decompose(
    normal: Floats, prior: Prior, noise: Noise, count: int, start_terms: Floats | float
) -> Decomposition:
    """Decomposition of normal matrices, shape (..., q, q), of `count` readings.

    `start_terms`: terms of the log likelihood that do not depend on the coefficients. The square of
    the Cholesky factor's last diagonal element is the residual sum of squares, of readings and
    prior. Raises LinAlgError where these do not determine the coefficients.
    """
    p = normal.shape[-1] - 1
    total = normal + prior.normal
    total[..., p, p] += _LEAST_RESIDUAL
    root = np.asarray(np.linalg.cholesky(total), dtype=np.float64)
    dof = noise.dof + count
    scale2: Floats = (root[..., p, p] ** 2 + noise.dof * noise.variance) / dof
    log_determinant = _log_determinant(root[..., :p, :p]) - prior.log_determinant
    log_evidence: Floats = start_terms - 0.5 * log_determinant - 0.5 * dof * np.log(scale2)
    return Decomposition(root, scale2, dof, log_evidence)


def together(found: Sequence[Decomposition], last: int) -> Decomposition:
    """The cases (c, k) of all of `found`, side by side, as those of their `last` coefficients.

    The coefficients before them are integrated out.
    """
    block = slice(-last - 1, None)
    return Decomposition(
        root=np.concatenate([each.root[..., block, block] for each in found], axis=1),
        scale2=np.concatenate([each.scale2 for each in found], axis=1),
        dof=found[0].dof,
        log_evidence=np.concatenate([each.log_evidence for each in found], axis=1),
    )


def integrate_out(normal: Floats, precision: Floats) -> tuple[Floats, Floats]:
    """Normal matrices, (..., q - m, q - m), without their first m coefficients, and terms (...).

    `precision` (..., m): of their independent priors with mean 0, as in `Prior`. The terms are what
    the integration adds to the log likelihood.
    """
    m = precision.shape[-1]
    block = normal[..., :m, :m] + precision[..., None] * np.eye(m)
    root = np.asarray(np.linalg.cholesky(block), dtype=np.float64)
    inverse = _inverse(root)
    half = inverse @ normal[..., :m, m:]
    # copied: numpy multiplies an array by its own transpose more slowly
    flipped = np.ascontiguousarray(half.swapaxes(-1, -2))
    left: Floats = normal[..., m:, m:] - flipped @ half
    return left, -0.5 * (_log_determinant(root) - np.sum(np.log(precision), axis=-1))


def _inverse(root: Floats) -> Floats:
    """Inverses of lower triangular matrices, shape (..., p, p).

    numpy's takes them for full ones, and one at a time, which is slower where there are many.
    """
    p = root.shape[-1]
    if root.size < _MANY * p**2:
        return np.asarray(np.linalg.inv(root), dtype=np.float64)
    rows = root.reshape(-1, p, p).transpose(1, 2, 0).copy()
    pivot = 1 / rows[range(p), range(p)]
    # rows over their pivots have a unit diagonal; each row of the inverse follows from those above
    rows *= -pivot[:, None]
    inverse = np.zeros(rows.shape)
    inverse[range(p), range(p)] = 1.0
    for row in range(1, p):
        above = inverse[:row, :row]
        np.einsum("jm,jkm->km", rows[row, :row], above, out=inverse[row, :row])
    inverse *= pivot
    return inverse.transpose(2, 0, 1).copy().reshape(root.shape)


def _log_determinant(root: Floats) -> Floats:
    """Log determinant of the matrices whose Cholesky factors are `root`, shape (..., p, p)."""
    diagonal = root.diagonal(axis1=-2, axis2=-1)
    log_determinant: Floats = 2 * np.add.reduce(np.log(diagonal), axis=-1)
    return log_determinant


def spikes(residual: Floats, correlation: float, keep: Flags) -> Flags:
    """Flags, shape (n,), of readings at which the residual jumps there and, but for the last, back.

    Of what the reading before does not explain under the correlation, more than half must be a jump
    from there, and as much must be gone at the next. Residuals are taken from their median: many
    spikes would shift the mean.
    """
    flags = np.zeros(keep.size, dtype=np.bool_)
    if residual.size < 7:
        return flags
    left = residual - median(residual)
    white = left[1:] - correlation * left[:-1]
    size = np.abs(white)
    far = size > _SPIKE * (1.4826 * median(size) + 1e-9)
    if not far.any():
        return flags
    sign, jump = np.sign(white), left[1:] - left[:-1]
    flags[1:] = far & (sign * jump > size / 2)
    flags[1:-1] &= -sign[:-1] * jump[1:] > size[:-1] / 2
    return flags


def quantile(ordered: Floats, share: float) -> float:
    """Quantile of (n,) values in order, between the two nearest; numpy's own takes far longer."""
    at = share * (ordered.size - 1)
    below = int(at)
    low, high = float(ordered[below]), float(ordered[min(below + 1, ordered.size - 1)])
    return low + (at - below) * (high - low)


def mean(values: Floats) -> float:
    """Mean of (n,) values; numpy's own takes far longer for so few."""
    return float(np.add.reduce(values)) / values.size


def median(values: Floats) -> float:
    """Median of (n,) values; numpy's own takes far longer for so few."""
    ordered = np.sort(values)
    middle = ordered.size // 2
    return float(ordered[middle] + ordered[~middle]) / 2
