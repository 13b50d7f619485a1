"""Confidence limits of a binomial share, and the number of trials that demonstrate one."""

import math
from dataclasses import dataclass

from ohmwright.uncertainty.inputs import normal_quantile


@dataclass(frozen=True, slots=True)
class ShareLimits:
    """Two-sided confidence limits of a share, both from 0 to 1."""

    lower: float
    upper: float


def wilson(successes: int, trials: int, confidence: float = 0.95) -> ShareLimits:
    """Return Wilson's score limits; their coverage is right on average over all shares.

    Raises ValueError unless 0 <= successes <= trials and trials > 0.
    """
    _check(successes, trials)
    z = normal_quantile(0.5 + 0.5 * confidence)
    share = successes / trials
    centre = share + z * z / (2.0 * trials)
    reach = z * math.sqrt(share * (1.0 - share) / trials + (z / (2.0 * trials)) ** 2)
    scale = 1.0 + z * z / trials
    return ShareLimits(max(0.0, (centre - reach) / scale), min(1.0, (centre + reach) / scale))


def clopper_pearson(successes: int, trials: int, confidence: float = 0.95) -> ShareLimits:
    """Return Clopper and Pearson's limits, whose coverage is at least the confidence.

    Raises ValueError unless 0 <= successes <= trials and trials > 0.
    """
    from scipy.special import betaincinv

    _check(successes, trials)
    tail = 0.5 * (1.0 - confidence)
    lower = betaincinv(successes, trials - successes + 1, tail) if successes > 0 else 0.0
    upper = betaincinv(successes + 1, trials - successes, 1.0 - tail) if successes < trials else 1.0
    return ShareLimits(float(lower), float(upper))


def probability_of_at_most(successes: int, trials: int, share: float) -> float:
    """Return the probability of at most `successes` where each trial succeeds with `share`."""
    from scipy.special import bdtr

    return 0.0 if successes < 0 else float(bdtr(successes, trials, share))


def upper_limit_without_failure(trials: int, confidence: float = 0.95) -> float:
    """Return the one-sided upper confidence limit of the failing share where none failed."""
    _check(0, trials)
    return -math.expm1(math.log1p(-confidence) / trials)


def trials_without_failure(reliability: float, confidence: float) -> int:
    """Return the fewest trials, none failing, that demonstrate a reliability with a confidence.

    Raises ValueError for a reliability or confidence outside (0, 1).
    """
    if not (0.0 < reliability < 1.0 and 0.0 < confidence < 1.0):
        raise ValueError("a reliability and a confidence lie between 0 and 1, both excluded")
    # Without the 1e-9 a whole number could become the next one by rounding.
    return math.ceil(math.log1p(-confidence) / math.log(reliability) - 1e-9)


def _check(successes: int, trials: int) -> None:
    if not 0 <= successes <= trials or trials == 0:
        raise ValueError(f"{successes} successes in {trials} trials is no count")
