"""Sequential decisions with bounded error; undecided is one of the verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from .mixture import Mixture

TestOutcome = Literal["in tolerance", "too low", "too high", "undecided"]


@dataclass(frozen=True)
class DecisionBounds:
    """What a decision needs: probability of being right; lag still to come, in tolerances."""

    inside: float = 0.999
    outside: float = 0.999
    remainder: float = 0.6


@dataclass(frozen=True)
class Estimate:
    """What an activation has shown so far, in tolerances from the target.

    `remainder`: the lag still to come, which is extrapolated and has not been seen.
    """

    value: Mixture
    remainder: float
    lag_s: float
    low: float = -1.0
    high: float = 1.0

    @property
    def within(self) -> float:
        """Probability that the value lies in tolerance."""
        return self.value.within(self.low, self.high)

    def answer(self, bounds: DecisionBounds) -> TestOutcome:
        """Decide where the probability is beyond the bounds and the lag nearly gone."""
        if self.remainder > bounds.remainder:
            return "undecided"
        low, not_high = self.value.below(self.low), self.value.below(self.high)
        if not_high - low >= bounds.inside:
            return "in tolerance"
        if low >= bounds.outside:
            return "too low"
        return "too high" if 1 - not_high >= bounds.outside else "undecided"

    def wait_s(self, bounds: DecisionBounds) -> float:
        """For how long no other look can decide: the lag needs that long to go."""
        if self.remainder <= bounds.remainder:
            return 0.0
        return min(0.8, 0.7 * self.lag_s * float(np.log(self.remainder / bounds.remainder)))
