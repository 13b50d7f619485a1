"""Normal and Student's t, without the second that scipy.stats takes to load."""

import math
from functools import lru_cache
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

# Coverage factors for many dof are interpolated between so many steps of 1 / dof from 0 to 1.
CELLS = 4096

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


def coverage_factors(dof: npt.ArrayLike, coverage: float = 0.95) -> FloatArray:
    """Coverage factors for many degrees of freedom, to 1e-12; infinite ones are normal.

    Interpolated in 1 / dof, which is ten times as fast as the inversion of the distribution.
    """
    from scipy.special import stdtrit

    freedom = np.asarray(dof, dtype=np.float64)
    if np.all(np.isinf(freedom)):
        return np.full(freedom.shape, coverage_factor(math.inf, coverage))
    cubics = _factor_cubics(coverage)
    place = np.minimum(CELLS / np.maximum(freedom, 1.0), CELLS)
    cell = np.clip(place.astype(np.intp), 1, CELLS - 2)
    place -= cell
    factors: FloatArray = cubics[3, cell]
    for power in (2, 1, 0):
        factors = factors * place + cubics[power, cell]
    few = freedom < 1.0
    if np.any(few):
        factors = np.where(few, stdtrit(np.where(few, freedom, 1.0), 0.5 + 0.5 * coverage), factors)
    return factors


@lru_cache(maxsize=8)
def _factor_cubics(coverage: float) -> FloatArray:
    """Coefficients (4, CELLS) of the cubic through the four points about each cell of 1 / dof."""
    from scipy.special import stdtrit

    factors = np.empty(CELLS + 1)
    factors[0] = coverage_factor(math.inf, coverage)
    factors[1:] = stdtrit(CELLS / np.arange(1.0, CELLS + 1), 0.5 + 0.5 * coverage)
    before, here, after, beyond = (np.roll(factors, 1 - step)[:CELLS] for step in range(4))
    return np.array(
        [
            here,
            after - before / 3.0 - here / 2.0 - beyond / 6.0,
            (before + after) / 2.0 - here,
            (beyond - before) / 6.0 + (here - after) / 2.0,
        ]
    )
