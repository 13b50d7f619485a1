"""What is known of a point's coefficients and of its noise before an activation's readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from .coefficients import COUNT, Coefficient, combination
from .habits import USUAL_HABITS, Habits

Floats = NDArray[np.float64]

_CURVATURE_SD = 0.13
"""Change of the gain over 100 counts, relative to the gain."""
_BETWEEN_ACTIVATIONS = combination(
    {
        Coefficient.LEVEL: 1e-3,
        Coefficient.DROOP: 1e-3,
        Coefficient.LOG_LAG: 0.05,
        Coefficient.LOG_DEAD_TIME: 0.05,
        Coefficient.LOG_POLE_RATIO: 0.2,
    }
)
"""How much a coefficient may change from one activation to the next, standard deviations."""


@dataclass(frozen=True)
class TransientPrior:
    """Gaussian prior of the coefficients: `mean`, shape (8,), and `covariance`, shape (8, 8).

    Where `droop_is_usual` nobody states the droop, and its prior is upwards a Cauchy distribution
    with the standard deviation for its scale, independent of the others: much more may be.
    """

    mean: Floats
    covariance: Floats
    droop_is_usual: bool = False

    @cached_property
    def precision(self) -> Floats:
        """Inverse of the covariance, shape (8, 8)."""
        return np.asarray(np.linalg.inv(self.covariance), dtype=np.float64)

    def mean_of(self, coefficient: Coefficient) -> float:
        """Expected value of one coefficient."""
        return float(self.mean[coefficient])

    def sd_of(self, coefficient: Coefficient) -> float:
        """Standard deviation of one coefficient."""
        return float(np.sqrt(self.covariance[coefficient, coefficient]))

    def known_gain(self, sds: float) -> float | None:
        """The expected gain; None where it is no more than `sds` deviations off zero."""
        gain = self.mean_of(Coefficient.GAIN)
        return gain if abs(gain) > sds * self.sd_of(Coefficient.GAIN) else None

    @property
    def lag_s(self) -> float:
        """First time constant at the expected logarithm, s."""
        return float(np.exp(self.mean_of(Coefficient.LOG_LAG)))

    @property
    def dead_time_s(self) -> float:
        """Dead time at the expected logarithm, s."""
        return float(np.exp(self.mean_of(Coefficient.LOG_DEAD_TIME)))

    def with_coefficient(self, coefficient: Coefficient, mean: float, sd: float) -> TransientPrior:
        """A prior in which one coefficient is `mean` ± `sd`, independent of all others."""
        means, covariance = self.mean.copy(), self.covariance.copy()
        means[coefficient] = mean
        covariance[coefficient, :] = covariance[:, coefficient] = 0.0
        covariance[coefficient, coefficient] = sd**2
        return replace(self, mean=means, covariance=covariance)

    def with_vague_gain(self) -> TransientPrior:
        """A prior in which the gain is as vague as in `vague_prior`."""
        return self.with_coefficient(Coefficient.GAIN, *_VAGUE[Coefficient.GAIN])

    def with_gain_times(self, ratio: float) -> TransientPrior:
        """A prior in which the gain, and what scales with it, is `ratio` times as large."""
        scale = np.ones(COUNT)
        scale[[Coefficient.GAIN, Coefficient.COARSE_PRESS, Coefficient.CURVATURE]] = ratio
        return self._scaled(scale, scale)

    def narrowed_to_gain(self, gain: float, coarse_sd_counts: float) -> TransientPrior:
        """A prior in which what scales with the gain is no vaguer than the size `gain` allows.

        That is the curvature and the change per coarse press beyond its nominal counts, which is
        `coarse_sd_counts` times the gain, standard deviation. Gain: relative to target, per count.
        """
        scale = np.ones(COUNT)
        for coefficient, sd in (
            (Coefficient.COARSE_PRESS, coarse_sd_counts * gain),
            (Coefficient.CURVATURE, _CURVATURE_SD * gain),
        ):
            scale[coefficient] = min(1.0, max(sd, 1e-7) / self.sd_of(coefficient))
        return self._scaled(np.ones(COUNT), scale)

    def _scaled(self, mean: Floats, sd: Floats) -> TransientPrior:
        """A prior with means and standard deviations times these factors, (8,) each."""
        covariance = self.covariance * np.outer(sd, sd)
        return replace(self, mean=self.mean * mean, covariance=covariance)

    def loosened(self, extrapolation: float) -> TransientPrior:
        """The prior for the next activation: variances larger by what may change until then.

        `extrapolation`: standard uncertainty of the level by what was not seen of it.
        """
        variance = _BETWEEN_ACTIVATIONS**2
        variance[Coefficient.LEVEL] += extrapolation**2
        return replace(self, covariance=self.covariance + np.diag(variance))


_VAGUE: dict[Coefficient, tuple[float, float]] = {
    Coefficient.LEVEL: (1.0, 0.1),
    Coefficient.GAIN: (0.0, 0.02),
    Coefficient.COARSE_PRESS: (0.0, 0.01),
    Coefficient.CURVATURE: (0.0, 0.0015),
    Coefficient.DROOP: (0.0075, 0.006),
    Coefficient.LOG_LAG: (float(np.log(0.75)), 0.8),
    Coefficient.LOG_DEAD_TIME: (float(np.log(0.5)), 0.9),
    Coefficient.LOG_POLE_RATIO: (float(np.log(0.15)), 1.0),
}
"""Mean and standard deviation of each coefficient of a point of which nothing is known.

The droop is up to 1.5 % as a rule (common practice, no source); what is written here is the scale
of a Cauchy distribution.
"""
VAGUE_POLE_RATIO = _VAGUE[Coefficient.LOG_POLE_RATIO]
"""Mean and standard deviation of that of a rise by two lags of which nothing else is known."""
VAGUE_GAIN_SD = _VAGUE[Coefficient.GAIN][1]
"""Standard deviation of the gain of a point of which nothing is known, relative, per count."""
_STATED_DROOP = (0.5, 0.3)
"""Mean and standard deviation of the droop over the largest stated: about those if all are alike
likely up to it."""


def vague_prior(largest_droop: float | None = None) -> TransientPrior:
    """The prior of a point of which nothing is known.

    `largest_droop`: the most that a unit of its model droops, relative; None if nobody states it.
    """
    mean, sd = np.array([_VAGUE[coefficient] for coefficient in Coefficient]).T.copy()
    vague = TransientPrior(mean, np.diag(sd**2), droop_is_usual=largest_droop is None)
    if largest_droop is None:
        return vague
    middle, spread = (part * largest_droop for part in _STATED_DROOP)
    return vague.with_coefficient(Coefficient.DROOP, middle, spread)


@dataclass(frozen=True)
class NoisePrior:
    """Noise of the readings, relative to the output.

    `sd` counts as if it had been seen in `dof` readings before; `habits`: how the unit departs from
    a plain rise with droop.
    """

    sd: float = 0.002
    dof: float = 3.0
    habits: Habits = USUAL_HABITS
