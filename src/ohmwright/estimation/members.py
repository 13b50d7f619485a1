"""Posteriors under each correlation of the noise and each explanation, with their probabilities.

The posterior of the coefficients is the mixture of these members (Bayesian model averaging).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import log

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import (
    CORRELATIONS,
    LOG_SHARES,
    Decomposition,
    Moments,
    Noise,
    Posterior,
    Prior,
    decompose,
    diagonal_prior,
    integrate_out,
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
from .mixture import weights

Floats = NDArray[np.float64]
_NEGLIGIBLE = 1e-7
"""Weight below which members are left out."""
_HUNTS = np.concatenate([each.hunts for each in EXPLANATIONS])
_OTHER = np.concatenate([np.full(each.hunts.size, each.other_shape) for each in EXPLANATIONS])


@dataclass(frozen=True)
class Members:
    """The m members of more than negligible weight; each is a Student t with `dof`.

    `weight` (m,), of sum 1; `mean` (m, p) and `covariance` (m, p, p) of the last p coefficients.
    `hunting`, `other_shape`: probabilities of the explanations of these kinds.
    """

    weight: Floats
    mean: Floats
    covariance: Floats
    dof: float
    correlation: float
    """Correlation of neighbouring readings, the mean over the members."""
    hunting: float = 0.0
    other_shape: float = 0.0


def plain_members(found: Decomposition) -> Members:
    """Members without departures, of cases of shape (correlations, 1)."""
    return _likely([found], weights(found.log_evidence), COUNT)


def members_with_departures(
    sums: Moments, eight: Prior, noise: Noise, variance: float, habits: Habits
) -> Members:
    """Members with departures, whose columns come before the eight in `sums`.

    `eight`: prior of the eight coefficients; `variance`: of the noise, by which precisions are
    multiplied; `habits`: of the unit. Means and covariances are of the course of the droop and the
    eight coefficients.
    """
    starts = (sums.start_terms(CORRELATIONS) + LOG_SHARES)[:, None]
    whitened = sums.whitened(CORRELATIONS)[:, None]
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
    weight = weights(np.concatenate([each.log_evidence for each in found], axis=1))
    return replace(
        _likely(found, weight, COURSE_COUNT + COUNT),
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


def _likely(found: Sequence[Decomposition], weight: Floats, last: int) -> Members:
    """Members of more than negligible weight; `weight` (correlations, k) of all of them."""
    posteriors, weights_kept, end = list[Posterior](), list[Floats](), 0
    for each in found:
        start, end = end, end + each.log_evidence.shape[1]
        part = weight[:, start:end]
        chosen = part > _NEGLIGIBLE
        posteriors.append(each.posterior(last, chosen))
        weights_kept.append(part[chosen])
    kept = np.concatenate(weights_kept)
    return Members(
        weight=kept / kept.sum(),
        mean=np.concatenate([each.mean for each in posteriors]),
        covariance=np.concatenate(
            [each.scale2[:, None, None] * each.covariance for each in posteriors]
        ),
        dof=found[0].dof,
        correlation=float(weight.sum(axis=1) @ CORRELATIONS),
    )
