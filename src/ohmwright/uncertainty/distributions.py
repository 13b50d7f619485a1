"""Normal and Student's t, without the second that scipy.stats takes to load."""

import math
from functools import lru_cache
from statistics import NormalDist

_STANDARD = NormalDist()
_SQRT_HALF = math.sqrt(0.5)


def normal_cdf(z: float) -> float:
    """Probability that a standard normal variable lies below `z`; exact far into the lower tail."""
    return 0.5 * math.erfc(-z * _SQRT_HALF)


def normal_quantile(probability: float) -> float:
    """The `z` that a standard normal variable lies below with this probability (not 0 or 1)."""
    return _STANDARD.inv_cdf(probability)


def t_cdf(t: float, dof: float) -> float:
    """Probability that Student's t with `dof` degrees of freedom lies below `t`."""
    if math.isinf(dof):
        return normal_cdf(t)
    from scipy.special import stdtr

    return float(stdtr(dof, t))


@lru_cache(maxsize=4096)
def coverage_factor(dof: float = math.inf, coverage: float = 0.95) -> float:
    """Half width, in standard uncertainties, of the symmetric interval with this coverage.

    Table G.2 of the GUM. `dof` need not be whole: take math.floor of an effective figure first to
    follow G.6.4's truncation. Raises ValueError for dof not above zero or coverage not in (0, 1).
    """
    if not dof > 0.0 or not 0.0 < coverage < 1.0:
        raise ValueError(f"no coverage factor for {dof} degrees of freedom and coverage {coverage}")
    if math.isinf(dof):
        return normal_quantile(0.5 + 0.5 * coverage)
    from scipy.special import stdtrit

    return float(stdtrit(dof, 0.5 + 0.5 * coverage))
