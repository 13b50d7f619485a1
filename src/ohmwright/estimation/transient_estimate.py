"""What the estimate of an activation's transient needs, and what it returns."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .coefficients import Coefficient, combination
from .habits import Habits
from .mixture import Mixture
from .point import Question
from .prior import TransientPrior
from .step_response import Steps

Floats = NDArray[np.float64]

_MOST_SPIKES = 0.12
"""Largest share of spikes with which the other readings are believed."""
_UNSEEN = 0.08
"""Standard uncertainty of the extrapolated lag, relative to the lag still to come."""


@dataclass(frozen=True)
class ActivationRecord:
    """One activation's readings, relative to the point's target, and what drove the output."""

    age_s: Floats
    """Age of each reading, the end of its window, shape (n,)."""
    relative: Floats
    """The readings over the target, shape (n,)."""
    steps: Steps
    window_s: float
    """Time over which the meter averages before each reading."""
    resolution: float
    """The meter's last digit over the target."""
    at_age_s: float
    """Age of a rested activation at which the measurand holds."""
    heat: float
    """Warmth at the start, 0 rested to 1 warm through."""

    @classmethod
    def of(
        cls, question: Question, age_s: Floats, value: Floats, steps: Steps, heat: float
    ) -> ActivationRecord:
        """Readings at `age_s`, (n,), `value` in the unit of the question; `heat` at the start."""
        target = question.target
        return cls(
            age_s=age_s,
            relative=value / target,
            steps=steps,
            window_s=question.window_s,
            resolution=question.resolution / target,
            at_age_s=question.at_age_s,
            heat=heat,
        )


@dataclass(frozen=True)
class FitStart:
    """Where a fit ended: a good start for the next one, with a few readings more.

    `dynamics` (3,): logarithms of lag s, dead time s and ratio of the poles; `linear` (5,): the
    linear coefficients; `correlation` of neighbouring readings and `variance` of the noise;
    `move_delay`: dead time and lags with which moves act, relative to those of the rise.
    """

    dynamics: Floats
    linear: Floats
    correlation: float
    variance: float
    move_delay: float = 1.0

    @property
    def move_times(self) -> Floats:
        """Lag s, dead time s and ratio of the poles with which moves act, shape (3,)."""
        times: Floats = np.exp(self.dynamics) * [self.move_delay, self.move_delay, 1.0]
        return times


@dataclass(frozen=True)
class TransientEstimate:
    """Posterior of the coefficients: a mixture of m Student t distributions with `dof` each.

    `weight` (m,), `mean` (m, 8) and `covariance` (m, 8, 8) of the parts.
    """

    weight: Floats
    mean: Floats
    covariance: Floats
    dof: float
    floor: float
    """Variance that the meter's resolution leaves to any output, relative to the target."""
    habits: Habits
    """How the unit departs from a plain rise with droop, by these readings."""
    remainder: float
    """Lag still to come after the last reading, relative to the target, two deviations included."""
    droop_uncertainty: float
    """Standard uncertainty of the level, since droop may begin and show before or after the lag."""
    autocorrelation: float
    """Of the noise of neighbouring readings."""
    spike_share: float
    """Part of the readings that was left out, since the meter jumped there and back."""
    start: FitStart

    @property
    def lag_s(self) -> float:
        """First time constant at the most probable dynamics, s."""
        log_lag, _, _ = self.start.dynamics
        return float(np.exp(log_lag))

    @property
    def dead_time_s(self) -> float:
        """Dead time at the most probable dynamics, s."""
        _, log_dead_time, _ = self.start.dynamics
        return float(np.exp(log_dead_time))

    def combination(self, factors: Floats) -> Mixture:
        """Distribution of a linear combination with `factors`, shape (8,).

        Relative to the target; an output (with a factor of the level) has the resolution's floor.
        """
        floor = self.floor if factors[Coefficient.LEVEL] != 0 else 0.0
        variance = (self.covariance @ factors) @ factors + floor
        return Mixture(self.weight, self.mean @ factors, np.sqrt(variance), self.dof)

    @property
    def jumps(self) -> bool:
        """Whether too many readings are spikes for the others to be believed."""
        return self.spike_share > _MOST_SPIKES

    @property
    def scatter(self) -> float:
        """Standard deviation of the level by the readings' noise alone, all else being known.

        Relative to the target. It follows from the covariance's own inverse: departures are
        integrated out.
        """
        precision = np.linalg.inv(self.covariance)[:, Coefficient.LEVEL, Coefficient.LEVEL]
        return float(np.sqrt(np.vdot(self.weight, 1 / precision)))

    @property
    def extrapolation(self) -> float:
        """Standard uncertainty of the level by what has not been seen, relative to the target."""
        return float(np.hypot(_UNSEEN * self.remainder, self.droop_uncertainty))

    def level(self, also: float) -> Mixture:
        """Distribution of the level, extrapolation included, and an uncertainty `also` besides."""
        unseen = float(np.hypot(self.extrapolation, also))
        return self.coefficient(Coefficient.LEVEL).widened(1.0, unseen)

    def swinging(self, half: float, uncertainty: float) -> TransientEstimate:
        """This, of a unit that swings by `half` to both sides; its level is as unsure besides."""
        covariance = self.covariance.copy()
        covariance[:, Coefficient.LEVEL, Coefficient.LEVEL] += uncertainty**2
        habits = replace(self.habits, hunting=1.0, swing=max(self.habits.swing, abs(half)))
        return replace(self, covariance=covariance, habits=habits)

    def or_else(self, other: TransientEstimate, share: float) -> TransientEstimate:
        """A mixture of this and, with the weight `share`, another."""
        likely = other if share > 0.5 else self
        hunting = (1 - share) * self.habits.hunting + share * other.habits.hunting
        return replace(
            likely,
            weight=np.concatenate([(1 - share) * self.weight, share * other.weight]),
            mean=np.concatenate([self.mean, other.mean]),
            covariance=np.concatenate([self.covariance, other.covariance]),
            dof=min(self.dof, other.dof),
            habits=replace(likely.habits, hunting=hunting),
            remainder=(1 - share) * self.remainder + share * other.remainder,
        )

    def coefficient(self, coefficient: Coefficient) -> Mixture:
        """Distribution of one coefficient."""
        return self.combination(combination({coefficient: 1.0}))

    def as_prior(self) -> TransientPrior:
        """One Gaussian with the mean and covariance of the mixture."""
        mean = self.weight @ self.mean
        apart = self.mean - mean
        spread = np.einsum("m,mi,mj->ij", self.weight, apart, apart)
        covariance = np.einsum("m,mij->ij", self.weight, self.covariance) + spread
        return TransientPrior(mean, covariance)
