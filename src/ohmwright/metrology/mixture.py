"""A mixture of Student t distributions: an estimate that admits several explanations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Mixture:
    """Weights (sum 1), centres and scales of the parts, all of one shape; `dof` for all."""

    weight: Floats
    centre: Floats
    scale: Floats
    dof: float

    @property
    def mean(self) -> float:
        """Expected value."""
        return float(np.vdot(self.weight, self.centre))

    @property
    def sd(self) -> float:
        """Standard deviation; each part's t counts with its scale."""
        spread = self.scale**2 + (self.centre - self.mean) ** 2
        return float(np.sqrt(np.vdot(self.weight, spread)))

    def below(self, limit: float) -> float:
        """Probability of a value under `limit`."""
        from scipy.special import stdtr  # scipy is slow to import and only a decision needs it

        parts = stdtr(self.dof, (limit - self.centre) / self.scale)
        return float(np.vdot(self.weight, parts))

    def within(self, lower: float, upper: float) -> float:
        """Probability of a value between the limits."""
        return max(0.0, self.below(upper) - self.below(lower))


def weights(log_weight: Floats) -> Floats:
    """Normalised weights from their logarithms."""
    weight = np.exp(log_weight - np.max(log_weight))
    normalised: Floats = weight / np.sum(weight)
    return normalised
