"""Posteriors under each correlation of the noise and each explanation, with their probabilities.

The posterior of the coefficients is the mixture of these members (Bayesian model averaging).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import (
    CORRELATIONS,
    LOG_SHARES,
    Decomposition,
    Moments,
    Noise,
    Prior,
    decompose,
    diagonal_prior,
    integrate_out,
)
from .coefficients import COUNT
from .departures import COURSE_COUNT, EXPLANATIONS, WANDERS, Explanations
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
            _columns_of(each, left),
            _joined(diagonal_prior(np.zeros(each.columns.shape[1]), variance / each.sd**2), eight),
            noise,
            sums.count,
            starts + terms[:, each.wander] + each.log_probability(habits),
        )
        for each in EXPLANATIONS
    ]
    weight = weights(np.concatenate([each.log_evidence for each in found], axis=1))
    return replace(
        _likely(found, weight, COURSE_COUNT + COUNT),
        hunting=float(weight[:, _HUNTS].sum()),
        other_shape=float(weight[:, _OTHER].sum()),
    )


def _columns_of(explanations: Explanations, left: Floats) -> Floats:
    """Normal matrices, shape (correlations, k, q, q), of what each explanation has."""
    count, size = explanations.wander.size, left.shape[-1]
    rest = np.broadcast_to(np.arange(size - COUNT - 1, size), (count, COUNT + 1))
    index = np.concatenate([explanations.columns, rest], axis=1)
    chosen: Floats = left[:, explanations.wander[:, None, None], index[:, :, None], index[:, None]]
    return chosen


def _joined(departures: Prior, eight: Prior) -> Prior:
    """Prior of the departures, (k, ...), and of the eight coefficients, independent of them."""
    count, first = departures.normal.shape[0], departures.normal.shape[-1] - 1
    size = first + COUNT + 1
    normal = np.zeros((count, size, size))
    normal[:, :first, :first] = departures.normal[:, :first, :first]
    normal[:, first:, first:] = eight.normal
    return Prior(normal, departures.log_determinant)


def _likely(found: Sequence[Decomposition], weight: Floats, last: int) -> Members:
    """Members of more than negligible weight; `weight` (correlations, k) of all of them."""
    ends = np.cumsum([each.log_evidence.shape[1] for each in found])
    parts = np.split(weight, ends[:-1], axis=1)
    likely = [part > _NEGLIGIBLE for part in parts]
    posteriors = [each.posterior(last, chosen) for each, chosen in zip(found, likely, strict=True)]
    kept = np.concatenate([part[chosen] for part, chosen in zip(parts, likely, strict=True)])
    return Members(
        weight=kept / kept.sum(),
        mean=np.concatenate([each.mean for each in posteriors]),
        covariance=np.concatenate(
            [each.scale2[:, None, None] * each.covariance for each in posteriors]
        ),
        dof=found[0].dof,
        correlation=float(weight.sum(axis=1) @ CORRELATIONS),
    )
