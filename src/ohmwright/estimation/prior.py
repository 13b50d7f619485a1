"""What is believed of a point before an activation, and of its noise."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

LEVEL, GAIN, COARSE, CURVE, DROOP = range(5)
LINEAR = 5
ALL = 8
"""Linear coefficients, then the logarithms of lag, dead time and second pole's ratio."""
_CURVATURE_SD = 0.13
"""Change of the gain over 100 counts, relative to it."""


@dataclass(frozen=True)
class TransientPrior:
    """Gaussian belief before an activation, relative to the target.

    `mean` (8,), `covariance` (8, 8): level, gain per count, coarse press beyond its nominal
    counts, curvature, droop; then logarithms of lag s, dead time s, second pole's ratio.
    """

    mean: Floats
    covariance: Floats

    @cached_property
    def precision(self) -> Floats:
        """Inverse covariance."""
        return np.asarray(np.linalg.inv(self.covariance), dtype=np.float64)

    @property
    def lag_s(self) -> float:
        """The likeliest first lag."""
        return float(np.exp(self.mean[LINEAR]))

    @property
    def dead_s(self) -> float:
        """The likeliest dead time."""
        return float(np.exp(self.mean[LINEAR + 1]))

    def for_gain(self, gain: float, coarse_sd: float) -> TransientPrior:
        """The same where what scales with the gain is no less sure than the `gain` allows.

        That is the coarse press beyond its nominal counts, `coarse_sd` counts, and the curvature.
        """
        scale = np.ones(ALL)
        for index, sd in ((COARSE, coarse_sd * gain), (CURVE, _CURVATURE_SD * gain)):
            now = float(np.sqrt(self.covariance[index, index]))
            scale[index] = min(1.0, max(sd, 1e-7) / now)
        return TransientPrior(self.mean, self.covariance * np.outer(scale, scale))

    def with_level(self, level: float, sd: float) -> TransientPrior:
        """The same where the level at the start was measured before."""
        mean, covariance = self.mean.copy(), self.covariance.copy()
        mean[LEVEL] = level
        covariance[LEVEL, :] = covariance[:, LEVEL] = 0.0
        covariance[LEVEL, LEVEL] = sd**2
        return TransientPrior(mean, covariance)

    def with_open_gain(self) -> TransientPrior:
        """The same with nothing known of the gain."""
        mean, covariance = self.mean.copy(), self.covariance.copy()
        first = vague_prior()
        mean[GAIN] = first.mean[GAIN]
        covariance[GAIN, :] = covariance[:, GAIN] = 0.0
        covariance[GAIN, GAIN] = first.covariance[GAIN, GAIN]
        return TransientPrior(mean, covariance)

    def loosened(self) -> TransientPrior:
        """What is still believed in the next activation: a little less of everything."""
        extra = np.array([1e-3, 0, 0, 0, 1e-3, 0.05, 0.05, 0.2]) ** 2
        return TransientPrior(self.mean, self.covariance + np.diag(extra))


def vague_prior() -> TransientPrior:
    """Belief about a point of which nothing is known."""
    mean = np.array([1.0, 0.0, 0.0, 0.0, 0.0075, np.log(0.75), np.log(0.5), np.log(0.15)])
    sd = np.array([0.1, 0.02, 0.01, 0.0015, 0.006, 0.55, 0.6, 1.0])
    return TransientPrior(mean, np.diag(sd**2))


@dataclass(frozen=True)
class NoisePrior:
    """Relative noise and hunting taken for granted."""

    sd: float = 0.002
    dof: float = 3.0
    hunting: float = 0.1
    hunting_amplitudes: tuple[float, ...] = (0.004, 0.01)
    hunting_periods_s: tuple[float, ...] = (4.0, 6.5, 10.5)
