"""What earlier records say of a model's point: sign, gain and lag before the first reading.

A prior only makes the policy look and move sooner. It never enters a confirmation, which is decided
on its own readings; so a wrong prior costs time and cannot cause a false accept.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ohmwright.estimation.prior import GAIN, TransientPrior, vague_prior

_LAG, _DEAD = 5, 6
_ENOUGH = 3
"""So many units before a prior is used."""
_LEAST_LOG_SD = 0.1
"""No fleet is taken to be more alike than this, in logarithms."""
_PRIOR_UNITS = 1.0
_PRIOR_LOG_SD = 0.3
_HUNTING, _HUNTING_UNITS = 0.2, 4.0
"""Share of hunting units before any was seen, and how many units that is worth."""
_SURPRISE = 3.0
_FORGET = 0.5


@dataclass(frozen=True)
class Learned:
    """What one finished adjustment taught. Gain relative to the target, per count."""

    gain: float
    lag_s: float
    dead_s: float
    hunting: float = 0.0
    """Probability that the unit hunts, from its own readings."""


@dataclass(frozen=True)
class Spread:
    """Running mean and scatter of a logarithm; `weight` in units seen."""

    weight: float = 0.0
    mean: float = 0.0
    squares: float = 0.0

    def with_value(self, value: float) -> Spread:
        """One more value."""
        weight = self.weight + 1
        step = value - self.mean
        mean = self.mean + step / weight
        return Spread(weight, mean, self.squares + step * (value - mean))

    def sd(self) -> float:
        """Predictive standard deviation for the next unit; wide while few have been seen."""
        scatter = self.squares + _PRIOR_UNITS * _PRIOR_LOG_SD**2
        variance = scatter / (self.weight + _PRIOR_UNITS)
        return max(_LEAST_LOG_SD, float(np.sqrt(variance * (1 + 1 / max(self.weight, 1.0)))))

    def faded(self, keep: float) -> Spread:
        """The same, worth only a part of what was seen."""
        return Spread(keep * self.weight, self.mean, keep * self.squares)


@dataclass(frozen=True)
class FleetPrior:
    """One generator model's point, as plain data: store it, or rebuild it from the records."""

    positive: float = 0.0
    negative: float = 0.0
    gain: Spread = Spread()
    lag: Spread = Spread()
    dead: Spread = Spread()
    hunting: float = 0.0
    """Units that hunted, each with its probability."""

    def hunting_share(self) -> float:
        """Share of units that are expected to hunt; only what is done before the confirmation."""
        units = self.positive + self.negative
        return (_HUNTING_UNITS * _HUNTING + self.hunting) / (_HUNTING_UNITS + units)

    def transient_prior(self) -> TransientPrior:
        """Belief before the first reading; that of an unknown point while too little was seen.

        The sign must have been the same in nearly all units, else the gain stays open.
        """
        known = vague_prior()
        mean, covariance = known.mean.copy(), known.covariance.copy()
        if self.gain.weight < _ENOUGH:
            return known
        for index, spread in ((_LAG, self.lag), (_DEAD, self.dead)):
            mean[index], covariance[index, index] = spread.mean, spread.sd() ** 2
        sign = self.sign()
        if sign != 0:
            gain, log_sd = float(np.exp(self.gain.mean)), self.gain.sd()
            mean[GAIN] = sign * gain
            covariance[GAIN, GAIN] = (gain * min(log_sd, 0.8)) ** 2
        return TransientPrior(mean, covariance)

    def gain_per_count(self) -> float | None:
        """The gain to be expected, relative to the target; None while too little was seen."""
        if self.gain.weight < _ENOUGH or self.sign() == 0:
            return None
        return self.sign() * float(np.exp(self.gain.mean))

    def sign(self) -> int:
        """Sign of the gain in nearly all units so far; 0 if they differ."""
        total = self.positive + self.negative
        if max(self.positive, self.negative) < 0.9 * total:
            return 0
        return 1 if self.positive > self.negative else -1


def learn(prior: FleetPrior, seen: Learned) -> FleetPrior:
    """The prior after one more unit; one that surprised is widened before it learns."""
    if surprising(prior, seen):
        prior = widened(prior)
    size = abs(seen.gain)
    if size <= 0:
        return prior
    return FleetPrior(
        positive=prior.positive + (seen.gain > 0),
        negative=prior.negative + (seen.gain < 0),
        gain=prior.gain.with_value(float(np.log(size))),
        lag=prior.lag.with_value(float(np.log(seen.lag_s))),
        dead=prior.dead.with_value(float(np.log(seen.dead_s))),
        hunting=prior.hunting + seen.hunting,
    )


def surprising(prior: FleetPrior, seen: Learned) -> bool:
    """Whether a unit lay far outside what the prior led to expect."""
    if prior.gain.weight < _ENOUGH:
        return False
    sign = prior.sign()
    if sign != 0 and seen.gain * sign < 0:
        return True
    away = abs(np.log(max(abs(seen.gain), 1e-9)) - prior.gain.mean)
    return bool(away > _SURPRISE * prior.gain.sd())


def widened(prior: FleetPrior) -> FleetPrior:
    """The prior after a disappointment: what was seen counts for half."""
    return replace(
        prior,
        positive=_FORGET * prior.positive,
        negative=_FORGET * prior.negative,
        gain=prior.gain.faded(_FORGET),
        lag=prior.lag.faded(_FORGET),
        dead=prior.dead.faded(_FORGET),
        hunting=_FORGET * prior.hunting,
    )
