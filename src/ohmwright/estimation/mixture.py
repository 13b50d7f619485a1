"""The posterior as a mixture: its members, and the distribution that they give to one quantity.

A member is the posterior under one correlation of the noise and one explanation of departures;
their mixture, weighted by their probabilities, is the posterior of the coefficients (Bayesian model
averaging). An estimate of a single quantity is a mixture of Student t distributions.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import log

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import (
    CORRELATIONS,
    Decomposition,
    Moments,
    Noise,
    Prior,
    decompose,
    diagonal_prior,
    integrate_out,
    together,
)
from .coefficients import COUNT
from .departures import (
    COURSE_COUNT,
    DEPARTURE_COUNT,
    EXPLANATIONS,
    WANDER_COUNT,
    WANDERS,
    Explanations,
    Indices,
)
from .habits import Habits

Floats = NDArray[np.float64]
_NEGLIGIBLE = 1e-7
"""Weight below which members are left out, of the posterior and of probabilities."""
_HUNTS = np.concatenate([each.hunts for each in EXPLANATIONS])
_OTHER = np.concatenate([np.full(each.hunts.size, each.other_shape) for each in EXPLANATIONS])


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

    @cached_property
    def mean(self) -> float:
        """Expected value."""
        return float(np.vdot(self.weight, self.centre))

    @cached_property
    def sd(self) -> float:
        """Standard deviation, with the scale of each part taken for its standard deviation."""
        spread = self.scale**2 + (self.centre - self.mean) ** 2
        return float(np.sqrt(np.vdot(self.weight, spread)))

    @property
    def as_stated(self) -> Mixture:
        """The Student t of the same mean and standard deviation: what a result states of it."""
        return Mixture(np.ones(1), np.array([self.mean]), np.array([self.sd]), self.dof)

    def rescaled(self, centre: float, unit: float) -> Mixture:
        """The distribution of the quantity counted from `centre` in multiples of `unit`."""
        return Mixture(self.weight, (self.centre - centre) / unit, self.scale / unit, self.dof)

    def widened(self, factor: float, floor: float) -> Mixture:
        """A distribution whose scales are `floor` added in square to `factor` times these."""
        scale = np.sqrt((factor * self.scale) ** 2 + floor**2)
        return Mixture(self.weight, self.centre, scale, self.dof)

    def doubted(self, share: float, sd: float) -> Mixture:
        """A distribution of which a `share` has wider scales: `sd` added in square."""
        weight = np.concatenate([(1 - share) * self.weight, share * self.weight])
        scale = np.concatenate([self.scale, np.hypot(self.scale, sd)])
        return Mixture(weight, np.tile(self.centre, 2), scale, self.dof)

    def probability_below(self, limit: float) -> float:
        """Probability that the value lies under `limit`."""
        from scipy.special import stdtr  # scipy is slow to import and only a decision needs it

        weight, centre, scale = self._likely
        return float(np.vdot(weight, stdtr(self.dof, (limit - centre) / scale)))

    @cached_property
    def _likely(self) -> tuple[Floats, Floats, Floats]:
        """Weight, centre and scale of the parts whose weight is not negligible."""
        likely = self.weight > _NEGLIGIBLE
        return self.weight[likely], self.centre[likely], self.scale[likely]

    def probability_between(self, lower: float, upper: float) -> float:
        """Probability that the value lies between the limits."""
        return max(0.0, self.probability_below(upper) - self.probability_below(lower))


def weights(log_weight: Floats) -> Floats:
    """Weights with sum 1 from their logarithms up to a constant, of one shape."""
    weight: Floats = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    return weight


def square_sums(spread: Floats, factors: Floats) -> Floats:
    """Variances, (m,), of a combination with `factors`, (p,), of what has a `spread` (m, r, p)."""
    along = spread @ factors
    square: Floats = np.einsum("mr,mr->m", along, along)
    return square


@dataclass(frozen=True)
class Members:
    """The m members of more than negligible weight; each is a Student t with `dof`.

    `weight` (m,), of sum 1; `mean` (m, p) of the last p coefficients, and `spread` (m, p, p), lower
    triangular, whose transpose times itself is their covariance. `hunting`, `other_shape`:
    probabilities of the explanations of these kinds.
    """

    weight: Floats
    mean: Floats
    spread: Floats
    dof: float
    correlation: float
    """Correlation of neighbouring readings, the mean over the members."""
    hunting: float = 0.0
    other_shape: float = 0.0


def plain_members(found: Decomposition) -> Members:
    """Members without departures, of cases of shape (correlations, 1)."""
    return _likely(found, weights(found.log_evidence), COUNT)


def members_with_departures(
    sums: Moments, eight: Prior, noise: Noise, variance: float, habits: Habits
) -> Members:
    """Members with departures, whose columns come before the eight in `sums`.

    `eight`: prior of the eight coefficients; `variance`: of the noise, by which precisions are
    multiplied; `habits`: of the unit. Means and spreads are of the course of the droop and the
    eight coefficients.
    """
    whitened, starts = sums.on_the_grid()
    left, terms = integrate_out(whitened, variance / WANDERS**2)  # once for each wander
    found = [
        decompose(
            each.normal(left),
            each.prior(eight, variance),
            noise,
            sums.count,
            starts + terms[:, explanations.wander] + explanations.log_probability(habits),
        )
        for explanations, each in zip(EXPLANATIONS, _DESIGNS, strict=True)
    ]
    last = COURSE_COUNT + COUNT
    every = together(found, last)
    weight = weights(every.log_evidence)
    return replace(
        _likely(every, weight, last),
        hunting=float(weight[:, _HUNTS].sum()),
        other_shape=float(weight[:, _OTHER].sum()),
    )


@dataclass(frozen=True)
class _Design:
    """What the regressions of k explanations have of their own, whatever the readings.

    `entries` (k, q, q): those of the normal matrices of all wanders that are theirs; `prior_normal`
    (k, q, q) and `log_determinant` (k,): of the departures' prior where the noise has variance 1.
    """

    entries: Indices
    prior_normal: Floats
    log_determinant: Floats
    departures: int

    @classmethod
    def of(cls, explanations: Explanations) -> _Design:
        """The design of `explanations`, the eight coefficients and the readings last."""
        count, departures = explanations.columns.shape
        size = DEPARTURE_COUNT - WANDER_COUNT + COUNT + 1
        rest = np.broadcast_to(np.arange(size - COUNT - 1, size), (count, COUNT + 1))
        index = np.concatenate([explanations.columns, rest], axis=1)
        rows = explanations.wander[:, None] * size + index
        own = diagonal_prior(np.zeros(departures), 1 / explanations.sd**2)
        normal = np.zeros((count, departures + COUNT + 1, departures + COUNT + 1))
        normal[:, :departures, :departures] = own.normal[:, :departures, :departures]
        entries = rows[:, :, None] * size + index[:, None]
        return cls(entries, normal, np.asarray(own.log_determinant), departures)

    def normal(self, left: Floats) -> Floats:
        """Normal matrices (correlations, k, q, q) out of `left`, those of each wander."""
        return left.reshape(left.shape[0], -1).take(self.entries, axis=1)

    def prior(self, eight: Prior, variance: float) -> Prior:
        """Prior under noise of a variance; `eight`: of the coefficients, independent of these."""
        normal = variance * self.prior_normal
        normal[:, self.departures :, self.departures :] = eight.normal
        return Prior(normal, self.log_determinant + self.departures * log(variance))


_DESIGNS = tuple(map(_Design.of, EXPLANATIONS))


def _likely(found: Decomposition, weight: Floats, last: int) -> Members:
    """Members, of the `last` coefficients, whose `weight` (correlations, k) is not negligible."""
    chosen = weight > _NEGLIGIBLE
    posterior, kept = found.posterior(last, chosen), weight[chosen]
    return Members(
        weight=kept / kept.sum(),
        mean=posterior.mean,
        spread=np.sqrt(posterior.scale2)[:, None, None] * posterior.spread,
        dof=found.dof,
        correlation=float(weight.sum(axis=1) @ CORRELATIONS),
    )
