"""A mixture of Student t distributions: an estimate that admits several explanations."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
_NEGLIGIBLE = 1e-7
"""Weight below which parts are left out of probabilities."""


@dataclass(frozen=True)
class Mixture:
    """A probability distribution made of Student t distributions, its parts.

    `weight` (sum 1), `centre` and `scale` of the parts have one shape; all have `dof` degrees of
    freedom.
    """

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
        """Standard deviation, with the scale of each part taken for its standard deviation."""
        spread = self.scale**2 + (self.centre - self.mean) ** 2
        return float(np.sqrt(np.vdot(self.weight, spread)))

    def rescaled(self, centre: float, unit: float) -> Mixture:
        """The distribution of the quantity counted from `centre` in multiples of `unit`."""
        return Mixture(self.weight, (self.centre - centre) / unit, self.scale / unit, self.dof)

    def widened(self, factor: float, floor: float) -> Mixture:
        """A distribution whose scales are `floor` added in square to `factor` times these."""
        scale = np.sqrt((factor * self.scale) ** 2 + floor**2)
        return Mixture(self.weight, self.centre, scale, self.dof)

    def doubted(self, share: float, sd: float) -> Mixture:
        """A distribution of which a `share` has wider scales: `sd` added in square."""
        if share == 0:
            return self
        weight = np.concatenate([(1 - share) * self.weight, share * self.weight])
        scale = np.concatenate([self.scale, np.hypot(self.scale, sd)])
        return Mixture(weight, np.tile(self.centre, 2), scale, self.dof)

    def probability_below(self, limit: float) -> float:
        """Probability that the value lies under `limit`."""
        from scipy.special import stdtr  # scipy is slow to import and only a decision needs it

        likely = self.weight > _NEGLIGIBLE
        z = (limit - self.centre[likely]) / self.scale[likely]
        return float(np.vdot(self.weight[likely], stdtr(self.dof, z)))

    def probability_between(self, lower: float, upper: float) -> float:
        """Probability that the value lies between the limits."""
        return max(0.0, self.probability_below(upper) - self.probability_below(lower))


def weights(log_weight: Floats) -> Floats:
    """Weights with sum 1 from their logarithms up to a constant, of one shape."""
    weight: Floats = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    return weight
