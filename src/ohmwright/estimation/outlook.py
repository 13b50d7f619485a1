"""Whether more readings can still tell on which side of a limit a value lies."""

from __future__ import annotations

from math import log, sqrt
from statistics import NormalDist

from .settled_value import CONFIDENCE

_PRECISE = 0.15
"""Standard deviation, in tolerances, above which readings may bring a surprise, as of hunting that
is not understood yet: then it is not foretold what they will say."""
_SMALL_CHANCE = 0.3
"""A chance below this is not worth more RF. It is a hopeful one: of 160 looks at points whose
chance was between 0.2 and 0.4, five of them were decided later (`scripts/bench/worlds`, nominal and
lag 3 s, seed 8701)."""
_EARLIER = 0.8
"""Part of the latest age at which it was looked to see how fast the standard deviation falls."""
_SLOWEST, _QUICKEST = 0.5, 1.5
"""Powers of the age with which a standard deviation may be expected to fall; white noise gives the
first."""
_POOLED = 1 / sqrt(2)
"""Standard deviation of two values pooled that are alike, over that of one."""

_STANDARD = NormalDist()
_DECISIVE = _STANDARD.inv_cdf(CONFIDENCE)
"""Distance from a limit, in standard deviations, with which a side is known."""


def chance_to_decide(distance: float, narrower: float) -> float:
    """Return the probability that a value will be known to lie on one side of a limit.

    `distance`: from the limit, in present standard deviations; `narrower`: what the standard
    deviation will come to, over the present one, below 1. The value moves meanwhile by what it is
    off now, as far as that is found out.
    """
    moves, needed = sqrt(1 - narrower**2), _DECISIVE * narrower
    return _STANDARD.cdf((distance - needed) / moves) + _STANDARD.cdf((-distance - needed) / moves)


def is_in_vain(distance: float, sd: float, narrower: float = _POOLED) -> bool:
    """Return whether a value is known well, yet hardly to be told from its nearest limit.

    `distance`, `sd`: in tolerances; `narrower`: see `chance_to_decide`, else another value like it
    that is pooled with it.
    """
    return 0 < sd <= _PRECISE and chance_to_decide(distance / sd, narrower) < _SMALL_CHANCE


class Outlook:
    """Foretells what the rest of an activation, and another one, may still decide.

    `until_s`: the age at which the activation ends at the latest.
    """

    def __init__(self, until_s: float) -> None:
        self._until_s = until_s
        self._looks: list[tuple[float, float]] = []
        """Ages in s and the standard deviations by then, in tolerances."""

    def is_in_vain(self, age_s: float, distance: float, sd: float) -> bool:
        """Take a look at a value, and return whether more readings of it are in vain.

        `distance`: from its nearest limit; `sd`: its standard deviation, both in tolerances.
        """
        self._looks.append((age_s, sd))
        earlier = [look for look in self._looks if look[0] <= _EARLIER * age_s]
        if not earlier or sd <= 0:
            return False
        then_s, then_sd = earlier[-1]
        power = log(max(then_sd / sd, 1.0)) / log(age_s / then_s)
        share = min(1.0, age_s / self._until_s) ** min(_QUICKEST, max(_SLOWEST, power))
        return is_in_vain(distance, sd, _POOLED * share)
