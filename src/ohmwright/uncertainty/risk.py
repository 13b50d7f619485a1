"""Global risk: how often an instrument out of tolerance is accepted, or a good one rejected.

The true value is normal over the population (JCGM 106's prior), the measurement adds a normal
error, and an instrument is accepted when the measured value lies within the acceptance limits.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Tails beyond this many standard deviations (3e-14) are left out. What remains is a normal density
# times a normal distribution: Gauss-Legendre takes it to 2e-13 with so many nodes on a stretch of
# up to 8 standard deviations of the narrower, and on one of up to 15.
REACH = 7.5
NODES_TO_8, NODES_TO_15 = 22, 44
# Points taken at a time, so that the NODES x points arrays stay in the processor's cache.
BLOCK_POINTS = 1 << 10


@dataclass(frozen=True, slots=True, eq=False)
class Risks:
    """Probabilities, each of the shape of the points: they are shares of all instruments."""

    false_accept: FloatArray
    false_reject: FloatArray
    accept: FloatArray
    conform: FloatArray

    @property
    def conditional_false_accept(self) -> FloatArray:
        """Share of the accepted instruments that are out of tolerance."""
        return self.false_accept / self.accept


def global_risks(
    lower_tolerance: npt.ArrayLike,
    upper_tolerance: npt.ArrayLike,
    lower_acceptance: npt.ArrayLike,
    upper_acceptance: npt.ArrayLike,
    population_mean: npt.ArrayLike,
    population_sd: npt.ArrayLike,
    measurement_u: npt.ArrayLike,
) -> Risks:
    """Risks of many points at once; the arguments broadcast, all in one unit a point.

    One-sided tolerances have an infinite limit. Standard deviations must be above zero.
    """
    from scipy.special import ndtr

    broadcast = np.broadcast_arrays(
        lower_tolerance,
        upper_tolerance,
        lower_acceptance,
        upper_acceptance,
        population_mean,
        population_sd,
        measurement_u,
    )
    shape = broadcast[0].shape
    low, high, low_accept, high_accept, mean, prior, error = (
        np.asarray(item, dtype=np.float64).ravel() for item in broadcast
    )
    if not (np.all(prior > 0.0) and np.all(error > 0.0)):
        raise ValueError("a risk needs a population spread and an uncertainty above zero")
    # A limit this far out is as good as none, and finite numbers keep nan out of the arithmetic.
    far = 5.0 * REACH * (prior + error)
    low, high, low_accept, high_accept = (
        np.clip(limit - mean, -far, far) for limit in (low, high, low_accept, high_accept)
    )
    above = _accepted_beyond(high, low_accept, high_accept, prior, error)
    mirrored = np.array_equal(low, -high) and np.array_equal(low_accept, -high_accept)
    below = above if mirrored else _accepted_beyond(-low, -high_accept, -low_accept, prior, error)
    spread = np.hypot(prior, error)
    accept = ndtr(high_accept / spread) - ndtr(low_accept / spread)
    conform = ndtr(high / prior) - ndtr(low / prior)
    false_accept = above + below
    false_reject = np.maximum(conform - accept + false_accept, 0.0)
    return Risks(*(part.reshape(shape) for part in (false_accept, false_reject, accept, conform)))


def centred_risks(
    in_tolerance: npt.ArrayLike,
    test_uncertainty_ratio: npt.ArrayLike,
    acceptance_multiplier: npt.ArrayLike = 1.0,
    coverage_factor: float = 2.0,
) -> Risks:
    """Risks for a two-sided tolerance about the population's mean, in the terms of Z540.3.

    `in_tolerance` is the share of the population in tolerance as received (true, not observed),
    the ratio is tolerance span over 2 U with U = coverage_factor * u, and the acceptance limit is
    the tolerance times `acceptance_multiplier`. Arguments broadcast.
    """
    prior = population_sd(1.0, in_tolerance)
    error = 1.0 / (coverage_factor * np.asarray(test_uncertainty_ratio, dtype=np.float64))
    limit = np.asarray(acceptance_multiplier, dtype=np.float64)
    return global_risks(-1.0, 1.0, -limit, limit, 0.0, prior, error)


def population_sd(half_tolerance: float, in_tolerance: npt.ArrayLike) -> FloatArray:
    """Spread of a centred population of which the share `in_tolerance` is within +- tolerance."""
    from scipy.special import ndtri

    share = np.asarray(in_tolerance, dtype=np.float64)
    if not np.all((share > 0.0) & (share < 1.0)):
        raise ValueError("the share in tolerance lies between 0 and 1, both excluded")
    return np.asarray(half_tolerance / ndtri(0.5 + 0.5 * share), dtype=np.float64)


def acceptance_multiplier(
    in_tolerance: float,
    test_uncertainty_ratio: float,
    maximum_false_accept: float = 0.02,
    coverage_factor: float = 2.0,
) -> float:
    """Share of the tolerance to accept so that false accepts stay at the maximum; at most 1."""

    def excess(multiplier: float) -> float:
        risks = centred_risks(in_tolerance, test_uncertainty_ratio, multiplier, coverage_factor)
        return float(risks.false_accept) - maximum_false_accept

    if excess(1.0) <= 0.0:
        return 1.0
    low, high = 0.0, 1.0
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if excess(middle) > 0.0 else (middle, high)
    return low


def root_difference_multiplier(test_uncertainty_ratio: float) -> float:
    """Acceptance multiplier sqrt(1 - 1/TUR^2), the root difference of squares; 0 below 1."""
    return math.sqrt(max(0.0, 1.0 - 1.0 / test_uncertainty_ratio**2))


def linear_multiplier(test_uncertainty_ratio: float) -> float:
    """Acceptance multiplier 1 - 1/TUR, a guard band of the expanded uncertainty; 0 below 1."""
    return max(0.0, 1.0 - 1.0 / test_uncertainty_ratio)


def dobbert_multiplier(test_uncertainty_ratio: float) -> float:
    """Acceptance multiplier that holds 2 % false accepts whatever the share in tolerance.

    1 - (1.04 - exp(0.38 ln TUR - 0.54)) / TUR, Dobbert's managed-risk guard band (from memory).
    """
    slack = 1.04 - math.exp(0.38 * math.log(test_uncertainty_ratio) - 0.54)
    return 1.0 - slack / test_uncertainty_ratio


def _accepted_beyond(
    tolerance: FloatArray,
    low_accept: FloatArray,
    high_accept: FloatArray,
    prior: FloatArray,
    error: FloatArray,
) -> FloatArray:
    """Probability that the true value lies above `tolerance` and the measured one is accepted."""
    result = np.empty_like(tolerance)
    for start in range(0, tolerance.size, BLOCK_POINTS):
        part = slice(start, start + BLOCK_POINTS)
        result[part] = _accepted_beyond_block(
            tolerance[part], low_accept[part], high_accept[part], prior[part], error[part]
        )
    return result


def _accepted_beyond_block(
    tolerance: FloatArray,
    low_accept: FloatArray,
    high_accept: FloatArray,
    prior: FloatArray,
    error: FloatArray,
) -> FloatArray:
    from scipy.special import ndtr

    reach = REACH * error
    # All of [tolerance, first] is accepted for certain, none above last.
    certain_to = np.where(low_accept + reach > tolerance, tolerance, high_accept - reach)
    first = np.maximum(np.maximum(tolerance, certain_to), -REACH * prior)
    last = np.minimum(REACH * prior, high_accept + reach)
    span = np.maximum(last - first, 0.0)
    narrow = np.all(span <= 8.0 * np.minimum(prior, error))
    nodes, weights = _unit_rule(NODES_TO_8 if narrow else NODES_TO_15)
    true = first + span * nodes
    accepted = ndtr((high_accept - true) / error)
    near = low_accept + reach > tolerance
    if np.any(near):
        accepted[:, near] -= ndtr((low_accept[near] - true[:, near]) / error[near])
    true /= prior
    true *= true
    true *= -0.5
    density = np.exp(true, out=true)
    density *= accepted
    certain = ndtr(-tolerance / prior) - ndtr(-first / prior)
    integral: FloatArray = (weights @ density) * span / prior
    return np.maximum(integral + certain, 0.0)


@lru_cache(maxsize=2)
def _unit_rule(count: int) -> tuple[FloatArray, FloatArray]:
    """Gauss-Legendre nodes on [0, 1] as a column, and weights over sqrt(2 pi)."""
    nodes, weights = np.polynomial.legendre.leggauss(count)
    return (0.5 * (nodes + 1.0))[:, None], 0.5 * weights / math.sqrt(math.tau)
