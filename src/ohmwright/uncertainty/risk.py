"""Global risk: the share of all instruments that are out of tolerance and accepted.

True values are normally distributed over the population (the prior of JCGM 106), the measurement
adds a normal error, and an instrument is accepted if its measured value lies within the acceptance
limits.
"""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Tails beyond this many standard deviations (3e-14) are left out, so that what remains is a normal
# density times a normal distribution over at most so many of the narrower: Gauss-Legendre takes it
# to 2e-13 with these nodes.
REACH = 7.5
NODES = 22
# Points taken at a time, so that the NODES x points arrays stay in the processor's cache.
BLOCK_POINTS = 1 << 10


def false_accept(
    in_tolerance: npt.ArrayLike,
    test_uncertainty_ratio: npt.ArrayLike,
    acceptance_multiplier: npt.ArrayLike = 1.0,
    coverage_factor: float = 2.0,
) -> FloatArray:
    """Return the share of all instruments that are out of tolerance and accepted (Z540.3), 0 to 1.

    The tolerance is two-sided about the population's mean. `in_tolerance` is the share of the
    population in tolerance as received (true, not observed), the ratio is tolerance span over 2 U
    with U = coverage_factor * u, and the acceptance limit is the tolerance times
    `acceptance_multiplier` (0 to 1). Arguments broadcast; the result has their common shape.
    Raises ValueError for a multiplier above 1, a negative ratio or a share not in (0, 1).
    """
    broadcast = np.broadcast_arrays(
        np.asarray(acceptance_multiplier, dtype=np.float64),
        population_sd(in_tolerance),
        1.0 / (coverage_factor * np.asarray(test_uncertainty_ratio, dtype=np.float64)),
    )
    limit, prior, error = (part.ravel() for part in broadcast)
    if not (np.all(limit <= 1.0) and np.all(error > 0.0)):
        raise ValueError("a risk needs acceptance within tolerance and an uncertainty above zero")
    return 2.0 * _accepted_above(limit, prior, error).reshape(broadcast[0].shape)


def population_sd(in_tolerance: npt.ArrayLike) -> FloatArray:
    """Return the standard deviation, over half the tolerance, of a centred population.

    `in_tolerance`: share of the population in tolerance. Raises ValueError outside (0, 1).
    """
    from scipy.special import ndtri

    share = np.asarray(in_tolerance, dtype=np.float64)
    if not np.all((share > 0.0) & (share < 1.0)):
        raise ValueError("the share in tolerance lies between 0 and 1, both excluded")
    return np.asarray(1.0 / ndtri(0.5 + 0.5 * share), dtype=np.float64)


def acceptance_multiplier(
    in_tolerance: float,
    test_uncertainty_ratio: float,
    maximum_false_accept: float,
    coverage_factor: float = 2.0,
) -> float:
    """Return the acceptance limit over the tolerance limit that keeps false accepts at the maximum.

    At most 1, and found by bisection to 1e-12.
    """

    def excess(multiplier: float) -> float:
        terms = (in_tolerance, test_uncertainty_ratio, multiplier, coverage_factor)
        return float(false_accept(*terms)) - maximum_false_accept

    if excess(1.0) <= 0.0:
        return 1.0
    low, high = 0.0, 1.0
    while high - low > 1e-12:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if excess(middle) > 0.0 else (middle, high)
    return low


def managed_risk_multiplier(test_uncertainty_ratio: float) -> float:
    """Return the acceptance limit over the tolerance limit for 2 % false accepts in any population.

    1 - (1.04 - exp(0.38 ln TUR - 0.54)) / TUR: the managed-risk guard band of a published paper,
    from memory and not compared.
    """
    slack = 1.04 - math.exp(0.38 * math.log(test_uncertainty_ratio) - 0.54)
    return 1.0 - slack / test_uncertainty_ratio


def _accepted_above(limit: FloatArray, prior: FloatArray, error: FloatArray) -> FloatArray:
    """Return the probability that the true value is above 1 and the measured value is accepted.

    All of shape (n,): acceptance limits are -limit and limit, true values have the standard
    deviation `prior` about 0, and errors of measurement the standard deviation `error`.
    """
    result = np.empty_like(limit)
    for start in range(0, limit.size, BLOCK_POINTS):
        part = slice(start, start + BLOCK_POINTS)
        result[part] = _accepted_above_block(limit[part], prior[part], error[part])
    return result


def _accepted_above_block(limit: FloatArray, prior: FloatArray, error: FloatArray) -> FloatArray:
    """Return that probability for up to `BLOCK_POINTS` points, by Gauss-Legendre quadrature."""
    from scipy.special import ndtr

    reach = REACH * error
    span = np.maximum(np.minimum(REACH * prior, limit + reach) - 1.0, 0.0)
    nodes, weights = _unit_rule()
    true = 1.0 + span * nodes
    accepted = ndtr((limit - true) / error)
    near = reach - limit > 1.0  # to the lower acceptance limit, so that it shows
    if np.any(near):
        accepted[:, near] -= ndtr((-limit[near] - true[:, near]) / error[near])
    true /= prior
    true *= true
    true *= -0.5
    density = np.exp(true, out=true)
    density *= accepted
    integral: FloatArray = (weights @ density) * span / prior
    return np.maximum(integral, 0.0)


@lru_cache(maxsize=1)
def _unit_rule() -> tuple[FloatArray, FloatArray]:
    """Return Gauss-Legendre nodes on [0, 1], (NODES, 1), and weights / sqrt(2 pi), (NODES,)."""
    nodes, weights = np.polynomial.legendre.leggauss(NODES)
    return (0.5 * (nodes + 1.0))[:, None], 0.5 * weights / math.sqrt(math.tau)
