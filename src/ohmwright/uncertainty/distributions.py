"""Normal and Student's t distribution, without importing scipy.stats, which takes a second."""

import math
from functools import lru_cache
from statistics import NormalDist

_STANDARD = NormalDist()
_SQRT_HALF = math.sqrt(0.5)


def normal_cdf(z: float) -> float:
    """Return the probability that a standard normal variable lies below `z`.

    Keeps its relative accuracy far into the lower tail.
    """
    return 0.5 * math.erfc(-z * _SQRT_HALF)


def normal_quantile(probability: float) -> float:
    """Return the `z` below which a standard normal variable lies with this probability.

    Raises statistics.StatisticsError for 0 and 1.
    """
    return _STANDARD.inv_cdf(probability)


def t_cdf(t: float, dof: float) -> float:
    """Return the probability that Student's t with `dof` degrees of freedom lies below `t`."""
    if math.isinf(dof):
        return normal_cdf(t)
    from scipy.special import stdtr

    return float(stdtr(dof, t))


def t_quantile(probability: float, dof: float) -> float:
    """Return the `t` below which Student's t with `dof` degrees of freedom lies with `probability`.

    nan for a probability outside 0 to 1.
    """
    if math.isinf(dof):
        return normal_quantile(probability)
    from scipy.special import stdtrit

    return float(stdtrit(dof, probability))


@lru_cache(maxsize=4096)
def coverage_factor(dof: float = math.inf, coverage: float = 0.95) -> float:
    """Return the half width, in standard uncertainties, of the symmetric interval of a coverage.

    GUM table G.2. `dof` need not be a whole number; GUM G.6.4 truncates effective degrees of
    freedom with math.floor first. Raises ValueError for dof not above 0 or coverage outside (0, 1).
    """
    if not dof > 0.0 or not 0.0 < coverage < 1.0:
        raise ValueError(f"no coverage factor for {dof} degrees of freedom and coverage {coverage}")
    return t_quantile(0.5 + 0.5 * coverage, dof)
