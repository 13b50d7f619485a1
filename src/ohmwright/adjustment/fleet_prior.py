"""What earlier units of a generator model teach of an adjustment point: sign, gain, lag, hunting.

It only makes the policy move sooner. It never enters a confirmation, which is decided on its own
readings, so that a wrong one costs time and cannot cause a false accept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.prior import TransientPrior, vague_prior

_ENOUGH = 3
"""Least number of units whose statistics replace the prior of an unknown point."""
_LEAST_LOG_SD = 0.1
"""Least scatter of a model's units that is assumed, standard deviation of a logarithm."""
_PRIOR_UNITS, _PRIOR_LOG_SD = 1.0, 0.3
"""Prior of the scatter: the number of units that it is worth, and its standard deviation."""
_HUNTING_UNITS, _HUNTING = 4.0, 0.2
"""Prior of the share of units that hunt: the number of units that it is worth, and the share."""
_SURPRISE_SDS = 3.0
"""Distance of a gain from its prediction above which it is surprising."""
_KEPT = 0.5
"""Weight, after a surprise, of the units seen before."""
_LARGEST_LOG_SD = 0.8
"""Largest relative standard deviation of a gain whose sign is known."""


@dataclass(frozen=True)
class Learned:
    """What one finished adjustment teaches; `gain` relative to the target, per count."""

    gain: float
    lag_s: float
    dead_time_s: float
    hunting: float = 0.0
    """Probability that the unit hunts, from its own readings."""


@dataclass(frozen=True)
class Spread:
    """Running mean of a logarithm and sum of its squared deviations; `weight`: units that count."""

    weight: float = 0.0
    mean: float = 0.0
    squares: float = 0.0

    def with_value(self, value: float) -> Spread:
        """The statistics after one more `value`, a logarithm."""
        weight = self.weight + 1
        step = value - self.mean
        mean = self.mean + step / weight
        return Spread(weight, mean, self.squares + step * (value - mean))

    def sd(self) -> float:
        """Predictive standard deviation of the next unit's logarithm, wide after few units."""
        scatter = self.squares + _PRIOR_UNITS * _PRIOR_LOG_SD**2
        variance = scatter / (self.weight + _PRIOR_UNITS)
        return max(_LEAST_LOG_SD, float(np.sqrt(variance * (1 + 1 / max(self.weight, 1.0)))))

    def faded(self, keep: float) -> Spread:
        """This mean and scatter as if from `keep` times as many units, 0 to 1."""
        return Spread(keep * self.weight, self.mean, keep * self.squares)


@dataclass(frozen=True)
class FleetPrior:
    """Statistics of the units of one generator model at one adjustment point.

    `positive`, `negative`: units by the sign of their gain; `gain`, `lag`, `dead_time`: logarithms
    of the gain's size relative to the target per count, of lag s and of dead time s.
    """

    positive: float = 0.0
    negative: float = 0.0
    gain: Spread = Spread()
    lag: Spread = Spread()
    dead_time: Spread = Spread()
    hunting: float = 0.0
    """Sum over the units of the probability that each hunts."""

    def hunting_share(self) -> float:
        """Expected share of units that hunt, 0 to 1."""
        units = self.positive + self.negative
        return (_HUNTING_UNITS * _HUNTING + self.hunting) / (_HUNTING_UNITS + units)

    def transient_prior(self, largest_droop: float | None = None) -> TransientPrior:
        """Prior of the next unit's coefficients; that of an unknown point after too few units.

        The gain stays that of an unknown point unless nearly all units agree on its sign.
        `largest_droop`: the most that units of the model droop, relative; None where not stated.
        """
        prior = vague_prior(largest_droop)
        if self.gain.weight < _ENOUGH:
            return prior
        for coefficient, spread in (
            (Coefficient.LOG_LAG, self.lag),
            (Coefficient.LOG_DEAD_TIME, self.dead_time),
        ):
            prior = prior.with_coefficient(coefficient, spread.mean, spread.sd())
        gain = self.gain_per_count()
        if gain is None:
            return prior
        sd = abs(gain) * min(self.gain.sd(), _LARGEST_LOG_SD)
        return prior.with_coefficient(Coefficient.GAIN, gain, sd)

    def gain_per_count(self) -> float | None:
        """Expected gain relative to the target; None after too few units or of either sign."""
        if self.gain.weight < _ENOUGH or self.sign() == 0:
            return None
        return self.sign() * float(np.exp(self.gain.mean))

    def sign(self) -> int:
        """Sign of the gain in at least nine of ten units, 1 or -1; 0 if they differ."""
        total = self.positive + self.negative
        if max(self.positive, self.negative) < 0.9 * total:
            return 0
        return 1 if self.positive > self.negative else -1


def learn(prior: FleetPrior, learned: Learned) -> FleetPrior:
    """The prior after one more unit; a surprising one makes it wider first."""
    if surprising(prior, learned):
        prior = widened(prior)
    size = abs(learned.gain)
    if size <= 0:
        return prior
    return FleetPrior(
        positive=prior.positive + (learned.gain > 0),
        negative=prior.negative + (learned.gain < 0),
        gain=prior.gain.with_value(float(np.log(size))),
        lag=prior.lag.with_value(float(np.log(learned.lag_s))),
        dead_time=prior.dead_time.with_value(float(np.log(learned.dead_time_s))),
        hunting=prior.hunting + learned.hunting,
    )


def surprising(prior: FleetPrior, learned: Learned) -> bool:
    """Whether a unit's gain has the other sign or lies far outside its prediction."""
    if prior.gain.weight < _ENOUGH:
        return False
    sign = prior.sign()
    if sign != 0 and learned.gain * sign < 0:
        return True
    away = abs(np.log(max(abs(learned.gain), 1e-9)) - prior.gain.mean)
    return bool(away > _SURPRISE_SDS * prior.gain.sd())


def widened(prior: FleetPrior) -> FleetPrior:
    """The prior in which each unit so far counts half, so that it adapts sooner."""
    return replace(
        prior,
        positive=_KEPT * prior.positive,
        negative=_KEPT * prior.negative,
        gain=prior.gain.faded(_KEPT),
        lag=prior.lag.faded(_KEPT),
        dead_time=prior.dead_time.faded(_KEPT),
        hunting=_KEPT * prior.hunting,
    )
