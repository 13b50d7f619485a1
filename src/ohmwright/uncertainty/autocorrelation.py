"""What a run of correlated readings is worth: autocorrelation, effective size, trend test.

Readings of one instrument a fraction of a second apart are not independent. The standard deviation
of their mean is then s / sqrt(n_eff), not s / sqrt(n).
"""

import math
from functools import lru_cache
from typing import SupportsFloat

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def deviations(readings: npt.ArrayLike) -> tuple[float, FloatArray]:
    """Mean of a one-dimensional series and its deviations from it, in the unit of the readings.

    Raises ValueError for anything but a non-empty one-dimensional series.
    """
    series = np.asarray(readings, dtype=np.float64)
    if series.ndim != 1 or series.size == 0:
        raise ValueError(f"expected a non-empty one-dimensional series, got shape {series.shape}")
    # Shifting by the first reading first keeps the digits of a small scatter on a large level.
    first = float(series[0])
    shifted = series - first
    centre = float(shifted.mean())
    return first + centre, shifted - centre


def mean(readings: npt.ArrayLike) -> float:
    """Arithmetic mean, in the unit of the readings."""
    return deviations(readings)[0]


def standard_deviation(readings: npt.ArrayLike) -> float:
    """Sample standard deviation (denominator n - 1), in the unit of the readings.

    Raises ValueError for fewer than two readings.
    """
    _, residuals = deviations(readings)
    if residuals.size < 2:
        raise ValueError("a standard deviation needs at least two readings")
    return math.sqrt(float(residuals @ residuals) / (residuals.size - 1))


def lag1_autocorrelation(readings: npt.ArrayLike) -> float:
    """Lag-1 autocorrelation coefficient as NIST StRD defines it, from -1 to 1; nan if constant.

    r1 = sum over i of (y[i] - ybar)(y[i+1] - ybar) / sum of (y[i] - ybar)^2
    """
    _, residuals = deviations(readings)
    total = float(residuals @ residuals)
    return float(residuals[:-1] @ residuals[1:]) / total if total > 0.0 else math.nan


def asymptotic_inflation(lag1: float) -> float:
    """Variance of a long AR(1) series' mean over that of independent readings: (1+r)/(1-r)."""
    if not -1.0 <= lag1 < 1.0:
        raise ValueError(f"lag-1 autocorrelation must be at least -1 and below 1, got {lag1}")
    return (1.0 + lag1) / (1.0 - lag1)


def ar1_inflation(count: int, lag1: float) -> float:
    """Variance of the mean of `count` AR(1) readings over that of independent ones, exactly.

    1 + 2 * sum over k = 1 .. n-1 of (1 - k/n) r^k
    """
    _check_count(count)
    if not -1.0 <= lag1 <= 1.0:
        raise ValueError(f"lag-1 autocorrelation must lie from -1 to 1, got {lag1}")
    lags = np.arange(1, count)
    return 1.0 + 2.0 * float(np.sum((1.0 - lags / count) * lag1**lags))


def effective_size(count: int, inflation: float) -> float:
    """How many independent readings `count` correlated ones are worth: n / inflation, 1 to n.

    Negative autocorrelation would give more than n. It is capped: an estimate from a short series
    does not earn a smaller uncertainty than independence.
    """
    _check_count(count)
    return float(count) if inflation * count <= count else max(1.0, count / inflation)


def effective_size_ar1(count: int, lag1: float) -> float:
    """Effective size of `count` readings of an AR(1) process, exact at finite n, 1 to n."""
    return effective_size(count, ar1_inflation(count, lag1))


def von_neumann_ratio(readings: npt.ArrayLike) -> float:
    """Sum of squared successive differences over sum of squared deviations; nan if constant.

    About 2 for independent readings, lower where a trend or a slow wander is present.
    (With a variance that divides by n and differences that divide by n - 1, as Hart 1942 tabulates
    it, the figure is n / (n - 1) times this one.)
    """
    _, residuals = deviations(readings)
    steps = np.diff(residuals)
    total = float(residuals @ residuals)
    return float(steps @ steps) / total if total > 0.0 else math.nan


def von_neumann_probability(count: int, ratio: SupportsFloat) -> float:
    """Probability that `count` independent normal readings give a von Neumann ratio below `ratio`.

    Exact: Imhof's inversion of the quadratic form sum of (lambda_j - ratio) z_j^2, where
    lambda_j = 2 (1 - cos(j pi / n)), integrated by the trapezoidal rule in log u.
    """
    if count < 3:
        raise ValueError(f"the von Neumann ratio needs at least three readings, got {count}")
    weights = 2.0 * (1.0 - np.cos(np.arange(1, count) * math.pi / count)) - float(ratio)
    if weights.min() >= 0.0:
        return 0.0
    if weights.max() <= 0.0:
        return 1.0
    # The integrand is analytic for |Im log u| < pi/2, so a step of 0.2 is exact to rounding.
    scaled = weights / np.abs(weights).max()
    decay = min(1.0, np.sum(np.abs(scaled) > 1e-3) / 2.0)
    log_u = np.arange(-45.0, 20.0 + 45.0 / decay, 0.2)
    products = np.exp(log_u)[:, None] * scaled
    angle = 0.5 * np.arctan(products).sum(axis=1)
    log_radius = 0.25 * np.log1p(products**2).sum(axis=1)
    return float(0.5 - 0.2 / math.pi * np.sum(np.sin(angle) * np.exp(-log_radius)))


@lru_cache(maxsize=256)
def von_neumann_critical(count: int, alpha: float) -> float:
    """Ratio that `count` independent normal readings fall below with probability `alpha`; exact."""
    if not 0.0 < alpha < 1.0:
        raise ValueError(f"alpha must lie between 0 and 1, got {alpha}")
    low, high = 0.0, 4.0
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        if von_neumann_probability(count, middle) < alpha:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


def _check_count(count: int) -> None:
    if count < 1:
        raise ValueError(f"the number of readings must be at least 1, got {count}")
