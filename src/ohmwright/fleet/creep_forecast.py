"""What is to be expected of units at a date: deviation, its interval, the risk of being out.

Each answer is of a mixture of Gaussians: the groups of `creep_model` under each model, without and
with a step until then. Deviations are in tolerances, times in years.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from .creep_figures import Figures
from .creep_filter import CreepStates, cosine_and_sine
from .creep_model import FloatArray

_BISECTIONS = 40
_FARTHEST_SDS = 8.0
_STEPS_A_YEAR = 12
"""Of the search for a date."""


@dataclass(frozen=True, slots=True, eq=False)
class ExpectedState:
    """A mixture of Gaussians for each unit: shares, means, deviations, each (parts, units)."""

    shares: FloatArray
    means: FloatArray
    sds: FloatArray

    def mean(self) -> FloatArray:
        """Mean deviation of each unit, (units,)."""
        mean: FloatArray = (self.shares * self.means).sum(axis=0)
        return mean

    def of_unit(self, index: int) -> ExpectedState:
        """Return that of one unit alone."""
        only = slice(index, index + 1)
        return ExpectedState(self.shares[:, only], self.means[:, only], self.sds[:, only])

    def below(self, values: FloatArray) -> FloatArray:
        """Return the probability of lying below `values` (units,)."""
        below: FloatArray = (self.shares * ndtr((values - self.means) / self.sds)).sum(axis=0)
        return below

    def outside(self, lower: FloatArray, upper: FloatArray) -> FloatArray:
        """Return the probability of lying outside `lower` to `upper`, each (units,)."""
        outside: FloatArray = np.clip(self.below(lower) + 1.0 - self.below(upper), 0.0, 1.0)
        return outside

    def quantile(self, probability: float) -> FloatArray:
        """Return the deviation below which each unit lies with `probability`, (units,)."""
        reach = _FARTHEST_SDS * self.sds
        low: FloatArray = (self.means - reach).min(axis=0)
        high: FloatArray = (self.means + reach).max(axis=0)
        for _ in range(_BISECTIONS):
            middle = 0.5 * (low + high)
            too_low = self.below(middle) < probability
            low, high = np.where(too_low, middle, low), np.where(too_low, high, middle)
        return 0.5 * (low + high)

    def interval(self, coverage: float = 0.9) -> tuple[FloatArray, FloatArray]:
        """Return the limits that leave out equal shares on both sides, each (units,)."""
        tail = 0.5 * (1.0 - coverage)
        return self.quantile(tail), self.quantile(1.0 - tail)


def expected_truth(states: CreepStates, times: FloatArray) -> ExpectedState:
    """Return what each unit's true deviation is at `times` (units,), not before its last value.

    The part of the stated uncertainty that does not scatter from visit to visit is in it: an error
    that all values share.
    """
    noise_ratio = Figures.of(states.models).noise_ratio
    return _expected(states, times, np.maximum(0.0, 1.0 - noise_ratio**2) * states.stated_u**2)


def expected_value(states: CreepStates, times: FloatArray, stated_u: FloatArray) -> ExpectedState:
    """Return what will be measured at `times` with a standard uncertainty, each (units,)."""
    return _expected(states, times, (Figures.of(states.models).noise_ratio * stated_u) ** 2)


def _expected(states: CreepStates, times: FloatArray, more: FloatArray) -> ExpectedState:
    figures = Figures.of(states.models)
    elapsed = np.maximum(0.0, times - states.times)
    cosine, sine = cosine_and_sine(times)
    row = (np.ones_like(times), figures.reach(elapsed), cosine, sine)
    means = sum(mean * factor for mean, factor in zip(states.means, row, strict=True))
    variances = figures.walk * elapsed + figures.turn * elapsed**3 / 3.0 + more
    for covariances, factor in zip(states.covariances, row, strict=True):
        variances = variances + factor * sum(
            covariance * other for covariance, other in zip(covariances, row, strict=True)
        )
    steps = figures.steps_a_year * elapsed
    some = -np.expm1(-steps)
    mean_steps = np.where(some > 0.0, steps / np.where(some > 0.0, some, 1.0), 1.0)
    shares = states.shares / len(states.models)
    parts = (-1, len(times))
    return ExpectedState(
        shares=np.concatenate([shares * (1.0 - some), shares * some]).reshape(parts),
        means=np.concatenate([means, means]).reshape(parts),
        sds=np.sqrt(
            np.concatenate([variances, variances + mean_steps * figures.step_sd**2]).reshape(parts)
        ),
    )


def time_out(
    risk: Callable[[FloatArray], FloatArray], start: FloatArray, probability: float, horizon: float
) -> FloatArray:
    """Return when each unit's `risk` first reaches `probability`, (units,); inf if not in time.

    `risk` takes times (units,) and returns probabilities; it is searched from `start` (units,) for
    `horizon` years on a grid of a month, then by bisection.
    """
    early, late = start.copy(), np.full(start.shape, np.inf)
    for after in np.linspace(0.0, horizon, max(1, math.ceil(_STEPS_A_YEAR * horizon)) + 1):
        unknown = np.isinf(late)
        if not unknown.any():
            break
        reached = risk(start + after) >= probability
        late = np.where(unknown & reached, start + after, late)
        early = np.where(unknown & ~reached, start + after, early)
    found = np.isfinite(late)
    low, high = np.where(found, early, start), np.where(found, late, start)
    for _ in range(12):
        middle = 0.5 * (low + high)
        reached = risk(middle) >= probability
        low, high = np.where(reached, low, middle), np.where(reached, middle, high)
    return np.where(found, high, np.inf)
