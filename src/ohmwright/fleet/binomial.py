"""What a count of successes says of the share behind it, and how many trials show a share."""

import math
from dataclasses import dataclass

from ohmwright.uncertainty.distributions import normal_quantile


@dataclass(frozen=True, slots=True)
class ShareLimits:
    """Two-sided confidence limits of a share, both from 0 to 1."""

    lower: float
    upper: float


def wilson(successes: int, trials: int, confidence: float = 0.95) -> ShareLimits:
    """Wilson's score limits: right on average, short."""
    _check(successes, trials)
    z = normal_quantile(0.5 + 0.5 * confidence)
    share = successes / trials
    centre = share + z * z / (2.0 * trials)
    reach = z * math.sqrt(share * (1.0 - share) / trials + (z / (2.0 * trials)) ** 2)
    scale = 1.0 + z * z / trials
    return ShareLimits(max(0.0, (centre - reach) / scale), min(1.0, (centre + reach) / scale))


def clopper_pearson(successes: int, trials: int, confidence: float = 0.95) -> ShareLimits:
    """Clopper and Pearson's limits: never less than the confidence, so wider."""
    from scipy.special import betaincinv

    _check(successes, trials)
    tail = 0.5 * (1.0 - confidence)
    lower = betaincinv(successes, trials - successes + 1, tail) if successes > 0 else 0.0
    upper = betaincinv(successes + 1, trials - successes, 1.0 - tail) if successes < trials else 1.0
    return ShareLimits(float(lower), float(upper))


def probability_of_at_most(successes: int, trials: int, share: float) -> float:
    """Probability of this many successes or fewer, when each trial succeeds with `share`."""
    from scipy.special import bdtr

    return 0.0 if successes < 0 else float(bdtr(successes, trials, share))


def upper_limit_without_failure(trials: int, confidence: float = 0.95) -> float:
    """One-sided upper limit of the failing share when none of `trials` failed."""
    _check(0, trials)
    return -math.expm1(math.log1p(-confidence) / trials)


def trials_without_failure(reliability: float, confidence: float) -> int:
    """Fewest trials, none failing, that show a reliability with this confidence."""
    if not (0.0 < reliability < 1.0 and 0.0 < confidence < 1.0):
        raise ValueError("a reliability and a confidence lie between 0 and 1, both excluded")
    # Without the slack a whole number may be missed by rounding.
    return math.ceil(math.log1p(-confidence) / math.log(reliability) - 1e-9)


def _check(successes: int, trials: int) -> None:
    if not 0 <= successes <= trials or trials == 0:
        raise ValueError(f"{successes} successes in {trials} trials is no count")
