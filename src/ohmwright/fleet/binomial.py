"""Confidence limits of a binomial share."""

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


def _check(successes: int, trials: int) -> None:
    if not 0 <= successes <= trials or trials == 0:
        raise ValueError(f"{successes} successes in {trials} trials is no count")
