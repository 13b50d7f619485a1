"""Control charts: Shewhart constants, Western Electric rules, EWMA and CUSUM.

A chart follows one quantity of one instrument over time, such as an analyzer's check standard or a
generator's as-found error, and signals when its level has changed.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class ShewhartConstants:
    """Factors of 3-sigma charts for subgroups of n normal values, by the names the tables use.

    Range: mean d2 sigma, standard deviation d3 sigma; standard deviation: mean c4 sigma. Limits:
    mean +- A2 Rbar or A3 sbar, range D3 Rbar to D4 Rbar, standard deviation B3 sbar to B4 sbar.
    """

    n: int
    d2: float
    d3: float
    c4: float

    @property
    def A2(self) -> float:  # noqa: N802
        """Half width of the limits of the mean, per mean range."""
        return 3.0 / (self.d2 * math.sqrt(self.n))

    @property
    def A3(self) -> float:  # noqa: N802
        """Half width of the limits of the mean, per mean standard deviation."""
        return 3.0 / (self.c4 * math.sqrt(self.n))

    @property
    def B3(self) -> float:  # noqa: N802
        """Lower limit of the standard deviation, per mean standard deviation."""
        return max(0.0, 1.0 - self._sd_spread)

    @property
    def B4(self) -> float:  # noqa: N802
        """Upper limit of the standard deviation, per mean standard deviation."""
        return 1.0 + self._sd_spread

    @property
    def D3(self) -> float:  # noqa: N802
        """Lower limit of the range, per mean range."""
        return max(0.0, 1.0 - 3.0 * self.d3 / self.d2)

    @property
    def D4(self) -> float:  # noqa: N802
        """Upper limit of the range, per mean range."""
        return 1.0 + 3.0 * self.d3 / self.d2

    @property
    def _sd_spread(self) -> float:
        return 3.0 * math.sqrt(1.0 - self.c4**2) / self.c4


@lru_cache(maxsize=64)
def shewhart_constants(n: int) -> ShewhartConstants:
    """Return the constants for subgroups of `n` values, to about 1e-10, by integration.

    Raises ValueError for n below 2.
    """
    if n < 2:
        raise ValueError(f"a subgroup has at least two values, got {n}")
    mean, mean_square = _range_moments(n)
    c4 = math.sqrt(2.0 / (n - 1.0)) * math.exp(math.lgamma(n / 2.0) - math.lgamma((n - 1) / 2.0))
    return ShewhartConstants(n, mean, math.sqrt(mean_square - mean * mean), c4)


def _range_moments(n: int) -> tuple[float, float]:
    """Return mean and mean square of the range of n standard normal values.

    Density of the range w: n (n-1) times the integral over the lowest value x of
    phi(x) phi(x + w) (Phi(x + w) - Phi(x))^(n-2).
    """
    from scipy.special import ndtr

    nodes, weights = np.polynomial.legendre.leggauss(120)
    ranges, weights = 8.0 * (nodes + 1.0), 8.0 * weights
    # The trapezoidal rule is exact to rounding for a smooth integrand that dies away at both ends.
    step = 0.05
    lowest = np.arange(-12.0, 12.0, step)[:, None]
    density = np.exp(-0.5 * (lowest**2 + (lowest + ranges) ** 2)) / math.tau
    density *= (ndtr(lowest + ranges) - ndtr(lowest)) ** (n - 2)
    shares = n * (n - 1) * step * density.sum(axis=0) * weights
    return float(shares @ ranges), float(shares @ ranges**2)


@dataclass(frozen=True, slots=True)
class Signal:
    """A Western Electric rule (1 to 4) that the value at `index` completes."""

    index: int
    rule: int


# rule: (at least this many, of this many latest values, lie beyond this many sigma on one side)
WESTERN_ELECTRIC = {1: (1, 1, 3.0), 2: (2, 3, 2.0), 3: (4, 5, 1.0), 4: (8, 8, 0.0)}


def western_electric(values: npt.ArrayLike, centre: float, sigma: float) -> tuple[Signal, ...]:
    """Return every signal of the Western Electric rules (from memory) in a series, in time order.

    1: one beyond 3 sigma; 2: two of three beyond 2 sigma on one side; 3: four of five beyond
    1 sigma on one side; 4: eight in a row on one side. Raises ValueError for sigma not above zero.
    """
    if not sigma > 0.0:
        raise ValueError(f"a control chart needs a sigma above zero, got {sigma}")
    z = (np.asarray(values, dtype=np.float64) - centre) / sigma
    found = [
        Signal(index, rule)
        for rule, (needed, window, beyond) in WESTERN_ELECTRIC.items()
        for index in _runs(z, needed, window, beyond)
    ]
    return tuple(sorted(found, key=lambda signal: (signal.index, signal.rule)))


def _runs(z: FloatArray, needed: int, window: int, beyond: float) -> list[int]:
    """Return the indices of values beyond, where `needed` of the last `window` are, on one side."""
    hits: set[int] = set()
    if z.size == 0:
        return []
    for outside in (z > beyond, z < -beyond):
        counts = np.convolve(outside.astype(np.int64), np.ones(window, dtype=np.int64))[: z.size]
        hits.update(np.flatnonzero(outside & (counts >= needed)).tolist())
    return sorted(hits)


@dataclass(frozen=True, slots=True, eq=False)
class Ewma:
    """An EWMA chart: statistic after each value (n,), steady-state limits, indices outside them."""

    statistic: FloatArray
    lower: float
    upper: float
    signals: tuple[int, ...]


def ewma(
    values: npt.ArrayLike, target: float, sigma: float, weight: float = 0.2, limit: float = 3.0
) -> Ewma:
    """Return the EWMA chart of `values` (n,): z = weight * x + (1 - weight) * z, from the target.

    Limits are those of the steady state, target +- limit * sigma * sqrt(weight / (2 - weight)).
    Raises ValueError for a weight outside (0, 1].
    """
    if not 0.0 < weight <= 1.0:
        raise ValueError(f"an EWMA weight lies above 0 and up to 1, got {weight}")
    statistic = np.asarray(values, dtype=np.float64).copy()
    level = target
    for index, value in enumerate(statistic):
        level = weight * value + (1.0 - weight) * level
        statistic[index] = level
    reach = limit * sigma * math.sqrt(weight / (2.0 - weight))
    outside = np.flatnonzero(np.abs(statistic - target) > reach)
    return Ewma(statistic, target - reach, target + reach, tuple(outside.tolist()))


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """A tabular CUSUM: both sums after each value (n,), indices where one exceeds the interval."""

    high: FloatArray
    low: FloatArray
    signals: tuple[int, ...]


def cusum(values: npt.ArrayLike, target: float, slack: float, decision_interval: float) -> Cusum:
    """Return the cumulative sums, upwards and downwards, of deviations from target beyond `slack`.

    All in the unit of `values` (n,): `slack` is k sigma, `decision_interval` is h sigma.
    """
    offsets = np.asarray(values, dtype=np.float64) - target
    high, low = np.empty_like(offsets), np.empty_like(offsets)
    above = below = 0.0
    for index, offset in enumerate(offsets):
        high[index] = above = max(0.0, above + offset - slack)
        low[index] = below = max(0.0, below - offset - slack)
    outside = np.flatnonzero((high > decision_interval) | (low > decision_interval))
    return Cusum(high, low, tuple(outside.tolist()))


def sigma_from_moving_ranges(values: npt.ArrayLike) -> float:
    """Return the short-term sigma of single values, the mean moving range of two over d2.

    Slow drift hardly changes it. Raises ValueError for fewer than two values.
    """
    ranges = np.abs(np.diff(np.asarray(values, dtype=np.float64)))
    if ranges.size == 0:
        raise ValueError("a moving range needs at least two values")
    return float(ranges.mean()) / shewhart_constants(2).d2
