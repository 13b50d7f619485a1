"""Whether a value lies in tolerance, decided as soon as the probability of an error is small."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from .mixture import Mixture

TestOutcome = Literal["in tolerance", "too low", "too high", "undecided"]


@dataclass(frozen=True)
class DecisionBounds:
    """What a decision needs.

    `inside`, `outside`: probability that the value lies in, or beyond one side of, its tolerance;
    `remainder`: the most of the lag that may still be to come, in tolerances.
    """

    inside: float = 0.999
    outside: float = 0.999
    remainder: float = 0.6


@dataclass(frozen=True)
class Estimate:
    """Estimate of the value free of lag, in tolerances from the target.

    `remainder`: lag still to come, which is extrapolated and has not been seen, in tolerances;
    `lag_s`: its time constant; `low`, `high`: the limits, in tolerances from the target.
    """

    value: Mixture
    remainder: float
    lag_s: float
    low: float = -1.0
    high: float = 1.0

    @property
    def probability_in_tolerance(self) -> float:
        """Probability that the value lies between the limits."""
        return self.value.probability_between(self.low, self.high)

    def outcome(self, bounds: DecisionBounds) -> TestOutcome:
        """The decision, "undecided" while a probability or the remainder misses the bounds."""
        if self.remainder > bounds.remainder:
            return "undecided"
        low = self.value.probability_below(self.low)
        not_high = self.value.probability_below(self.high)
        if not_high - low >= bounds.inside:
            return "in tolerance"
        if low >= bounds.outside:
            return "too low"
        return "too high" if 1 - not_high >= bounds.outside else "undecided"

    def wait_s(self, bounds: DecisionBounds) -> float:
        """Time until the remainder is small enough to decide, at most 0.8 s; 0 if it is now."""
        if self.remainder <= bounds.remainder:
            return 0.0
        return min(0.8, 0.7 * self.lag_s * float(np.log(self.remainder / bounds.remainder)))
