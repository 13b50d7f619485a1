"""Sequential decisions with bounded error; undecided is one of the verdicts."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

import numpy as np

from .mixture import Mixture


class Confirmation(Enum):
    """What one look at a confirmation says."""

    ACCEPT = "accept"
    REFUSE = "refuse"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Bounds:
    """What a decision needs: probabilities, and the lag still to come in tolerances."""

    accept: float = 0.999
    refuse: float = 0.05
    remainder: float = 0.6


@dataclass(frozen=True)
class Look:
    """What a confirmation has shown so far, in tolerances from the target."""

    value: Mixture
    remainder: float

    @property
    def within(self) -> float:
        """Probability that the value lies in tolerance."""
        return self.value.within(-1.0, 1.0)

    def wait_s(self, bounds: Bounds, lag_s: float) -> float:
        """For how long no other look can decide: the lag needs that long to go."""
        if self.remainder <= bounds.remainder:
            return 0.0
        return min(1.5, 0.8 * lag_s * float(np.log(self.remainder / bounds.remainder)))

    def says(self, bounds: Bounds) -> Confirmation:
        """Accept or refuse where the probability is beyond the bounds and the lag nearly gone."""
        if self.remainder > bounds.remainder:
            return Confirmation.UNDECIDED
        within = self.within
        if within >= bounds.accept:
            return Confirmation.ACCEPT
        return Confirmation.REFUSE if within <= bounds.refuse else Confirmation.UNDECIDED
