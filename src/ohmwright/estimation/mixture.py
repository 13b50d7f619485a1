"""A mixture of Student t distributions: an estimate that admits several explanations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_NEGLIGIBLE = 1e-7
"""Parts of less weight are left out of probabilities."""


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

    def rescaled(self, centre: float, unit: float) -> Mixture:
        """The same estimate counted from `centre` in `unit`."""
        return Mixture(self.weight, (self.centre - centre) / unit, self.scale / unit, self.dof)

    def widened(self, factor: float, floor: float) -> Mixture:
        """The same estimate with scales `factor` times as wide and `floor` added in square."""
        scale = np.sqrt((factor * self.scale) ** 2 + floor**2)
        return Mixture(self.weight, self.centre, scale, self.dof)

    def below(self, limit: float) -> float:
        """Probability of a value under `limit`."""
        from scipy.special import stdtr  # scipy is slow to import and only a decision needs it

        likely = self.weight > _NEGLIGIBLE
        z = (limit - self.centre[likely]) / self.scale[likely]
        return float(np.vdot(self.weight[likely], stdtr(self.dof, z)))

    def within(self, lower: float, upper: float) -> float:
        """Probability of a value between the limits."""
        return max(0.0, self.below(upper) - self.below(lower))


def weights(log_weight: Floats) -> Floats:
    """Normalised weights from their logarithms."""
    weight = np.exp(log_weight - np.max(log_weight))
    normalised: Floats = weight / np.sum(weight)
    return normalised
