"""Ordinary least squares, and one-way analysis of variance."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Fit:
    """A least-squares fit: coefficients (k,), their covariance (k, k), residuals with dof n - k."""

    coefficients: FloatArray
    covariance: FloatArray
    residual_sd: float
    dof: int
    r_squared: float
    f_statistic: float

    @property
    def standard_uncertainties(self) -> FloatArray:
        """Standard uncertainty of each coefficient, shape (k,)."""
        return np.sqrt(np.diag(self.covariance))

    def correlation(self, first: int, second: int) -> float:
        """Return the correlation of two coefficients, given by index, from -1 to 1."""
        u = self.standard_uncertainties
        return float(self.covariance[first, second] / (u[first] * u[second]))


def least_squares(design: npt.ArrayLike, response: npt.ArrayLike) -> Fit:
    """Return the fit of response (n,) = design (n, k) @ coefficients (k,), all of equal weight.

    By QR of the columns scaled to unit length. R squared and F compare the fit with a constant and
    are meaningful only if the columns span a constant. Raises ValueError where n does not exceed k
    or the columns are linearly dependent.
    """
    columns = np.asarray(design, dtype=np.float64)
    observed = np.asarray(response, dtype=np.float64)
    n, k = columns.shape
    if n <= k:
        raise ValueError(f"{k} coefficients need more than {k} points, got {n}")
    scale = np.sqrt((columns**2).sum(axis=0))
    q, r = np.linalg.qr(columns / np.where(scale > 0.0, scale, 1.0))
    pivots = np.abs(np.diag(r))
    if pivots.min() < 1e-12:
        raise ValueError("these points do not determine the fit: a column repeats the others")
    scaled = np.linalg.solve(r, q.T @ observed)
    residuals = observed - columns @ (scaled / scale)
    # One step of refinement regains the digits that nearly dependent columns cost.
    coefficients = (scaled + np.linalg.solve(r, q.T @ residuals)) / scale
    residuals = observed - columns @ coefficients
    rest = float(residuals @ residuals)
    spread = observed - observed.mean()
    total = float(spread @ spread)
    inverse = np.linalg.inv(r) / scale[:, None]
    variance = rest / (n - k)
    return Fit(
        coefficients=coefficients,
        covariance=inverse @ inverse.T * variance,
        residual_sd=math.sqrt(variance),
        dof=n - k,
        r_squared=1.0 - rest / total if total > 0.0 else math.nan,
        f_statistic=(total - rest) / (k - 1) / variance if k > 1 and variance > 0.0 else math.nan,
    )


@dataclass(frozen=True, slots=True)
class Anova:
    """One-way analysis of variance: mean squares between and within groups, with their dof."""

    between_mean_square: float
    between_dof: int
    within_mean_square: float
    within_dof: int

    @property
    def f_statistic(self) -> float:
        """Mean square between groups over mean square within."""
        return self.between_mean_square / self.within_mean_square

    @property
    def r_squared(self) -> float:
        """Share of the total sum of squares that lies between the groups."""
        between = self.between_mean_square * self.between_dof
        return between / (between + self.within_mean_square * self.within_dof)

    def between_sd(self, group_size: int) -> float:
        """Return the standard deviation between groups (GUM H.5.2.5), 0 where within is larger."""
        excess = (self.between_mean_square - self.within_mean_square) / group_size
        return math.sqrt(max(0.0, excess))


def one_way_anova(groups: Sequence[npt.ArrayLike]) -> Anova:
    """Return the analysis of variance of two or more groups of readings, each of shape (n,).

    Raises ValueError for fewer than two groups or no group with a repeated reading.
    """
    arrays = [np.asarray(group, dtype=np.float64) for group in groups]
    count = sum(group.size for group in arrays)
    if len(arrays) < 2 or count <= len(arrays):
        raise ValueError("an analysis of variance needs two groups and a repeat within one")
    # The level is taken off first, so that a small scatter on a large one keeps its digits.
    level = float(arrays[0][0])
    arrays = [group - level for group in arrays]
    grand = float(np.concatenate(arrays).mean())
    between = sum(group.size * (float(group.mean()) - grand) ** 2 for group in arrays)
    within = sum(float(((group - group.mean()) ** 2).sum()) for group in arrays)
    dof = len(arrays) - 1, count - len(arrays)
    return Anova(between / dof[0], dof[0], within / dof[1], dof[1])


def one_way_anova_from_summaries(
    means: npt.ArrayLike, standard_deviations: npt.ArrayLike, group_size: int
) -> Anova:
    """Return the analysis of variance of groups of `group_size` readings each.

    From their means and standard deviations, both of shape (groups,).
    """
    centres = np.asarray(means, dtype=np.float64)
    scatters = np.asarray(standard_deviations, dtype=np.float64)
    between = group_size * float(np.var(centres - centres[0], ddof=1))
    within = float(np.mean(scatters**2))
    return Anova(between, centres.size - 1, within, centres.size * (group_size - 1))
