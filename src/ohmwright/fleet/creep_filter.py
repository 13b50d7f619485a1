"""What the visits of many units say of each one's deviation, rate and season: a Kalman filter.

All units of one point are filtered at once, under one model or several, in each of the three groups
of `creep_model`. At each visit two Gaussians, without and with a step since the last one, are
merged into one of their mean and covariance, so that a step is taken as one and not as a rate
(known as a generalised pseudo-Bayesian filter of first order; from memory). Arrays have the axes
(states, models, groups, units).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .creep_figures import Figures
from .creep_model import CreepModel, FloatArray

BoolArray = npt.NDArray[np.bool_]

_START_SD = 1.5
"""Standard deviation of a deviation before its first value, or after an adjustment, in tolerances;
no source."""
_LEVEL, _RATE, _COS, _SIN = range(4)
_LEAST_VARIANCE = 1e-12
"""Keeps a value that states no uncertainty from a division by zero."""


@dataclass(frozen=True, slots=True, eq=False)
class Histories:
    """Values of many units at one point, oldest first; each array (units, values), padded."""

    times: FloatArray
    """In years from an origin at the beginning of a calendar year."""
    values: FloatArray
    """In tolerances."""
    uncertainties: FloatArray
    """Standard, in tolerances."""
    adjusted: BoolArray
    """Whether the unit was adjusted between the value before and this one."""
    known: BoolArray
    """False where there is no value, which is only after a unit's last one."""

    def of_units(self, chosen: npt.ArrayLike) -> Histories:
        """Return the histories of some units, by index or mask."""
        index = np.asarray(chosen)
        return Histories(
            self.times[index],
            self.values[index],
            self.uncertainties[index],
            self.adjusted[index],
            self.known[index],
        )


@dataclass(frozen=True, slots=True, eq=False)
class CreepStates:
    """Where each unit stands at its last value, under each model: Gaussians over four states.

    The states are deviation without season, rate, and the factors of cosine and sine.
    """

    models: tuple[CreepModel, ...]
    times: FloatArray
    """Of the last value, (units,)."""
    stated_u: FloatArray
    """Standard uncertainty of the last value, (units,)."""
    shares: FloatArray
    """Probability of each group under each model, (models, 3, units); 1 over the groups."""
    means: FloatArray
    """(4, models, 3, units)."""
    covariances: FloatArray
    """(4, 4, models, 3, units)."""
    surprises: FloatArray
    """How far each value lay from what was foretold of it, in standard deviations of that, (units,
    values), by the first model, the likeliest of `fit_creep`; NaN for the first value, after an
    adjustment, where there is none."""
    log_evidence: FloatArray
    """Log density of each unit's values under each model, (models, units)."""


def cosine_and_sine(times: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return cosine and sine of the time of year of `times`, in years."""
    return np.cos(math.tau * times), np.sin(math.tau * times)


def filtered(models: Sequence[CreepModel], seen: Histories) -> CreepStates:
    """Return where each unit stands after its values, under each of `models`."""
    counts = seen.known.sum(axis=1)
    order = np.argsort(-counts, kind="stable")
    sorted_ = seen.of_units(order)
    run = _Run(models, len(order))
    surprises = np.full(seen.times.shape, np.nan)
    for index in range(seen.times.shape[1]):
        with_value = int((counts > index).sum())
        if with_value:
            surprises[order[:with_value], index] = run.take(sorted_, index, with_value)
    back = np.argsort(order)
    top = run.logs.max(axis=1, keepdims=True)
    total = top + np.log(np.exp(run.logs - top).sum(axis=1, keepdims=True))
    return CreepStates(
        models=tuple(models),
        times=run.times[back],
        stated_u=run.stated_u[back],
        shares=np.exp(run.logs - total)[..., back],
        means=run.means[..., back],
        covariances=run.covariances[..., back],
        surprises=surprises,
        log_evidence=total[:, 0, back],
    )


class _Run:
    """The filter on its way through the values of units, those with most values first."""

    def __init__(self, models: Sequence[CreepModel], units: int) -> None:
        self._figures = Figures.of(models)
        shape = (len(models), 3, units)
        self.times, self.stated_u = np.full(units, np.nan), np.zeros(units)
        self.logs = np.broadcast_to(np.log(self._figures.shares), shape).copy()
        self.means = np.zeros((4, *shape))
        self.means[_RATE] = self._figures.rate_means
        self.means[_COS], self.means[_SIN] = self._figures.cosine, self._figures.sine
        self.covariances = np.zeros((4, 4, *shape))
        self.covariances[_LEVEL, _LEVEL] = _START_SD**2
        self.covariances[_RATE, _RATE] = self._figures.rate_sds**2
        for state in (_COS, _SIN):
            self.covariances[state, state] = self._figures.season_sd**2

    def take(self, seen: Histories, index: int, units: int) -> FloatArray:
        """Take in the value `index` of the first `units`; return how surprising each one was."""
        figures = self._figures
        times, values = seen.times[:units, index], seen.values[:units, index]
        stated_u = seen.uncertainties[:units, index]
        fresh = seen.adjusted[:units, index] | (index == 0)
        elapsed = np.zeros(units) if index == 0 else np.maximum(0.0, times - self.times[:units])
        mean, cov = self.means[..., :units], self.covariances[..., :units]
        logs = self.logs[..., :units]
        _move(mean, cov, elapsed, figures)
        _forget_level(mean, cov, fresh)
        cosine, sine = cosine_and_sine(times)
        spread = cov[_LEVEL] + cov[_COS] * cosine + cov[_SIN] * sine
        away = values - (mean[_LEVEL] + mean[_COS] * cosine + mean[_SIN] * sine)
        variance = spread[_LEVEL] + spread[_COS] * cosine + spread[_SIN] * sine
        variance = variance + (figures.noise_ratio * stated_u) ** 2 + _LEAST_VARIANCE
        surprise = _surprise(logs[0], away[0], variance[0])
        step = np.where(fresh, 0.0, -np.expm1(-figures.steps_a_year * elapsed))
        logs += _update(mean, cov, spread, (away, variance), step, figures.step_sd)
        self.times[:units], self.stated_u[:units] = times, stated_u
        surprise[fresh] = np.nan
        return surprise


def _move(mean: FloatArray, cov: FloatArray, elapsed: FloatArray, figures: Figures) -> None:
    """Let time pass, in place: rate, random walk, and the walk of the rate; no step."""
    reach, left = figures.reach(elapsed), figures.left(elapsed)
    mean[_LEVEL] += mean[_RATE] * reach
    mean[_RATE] *= left
    for each in (cov, cov.swapaxes(0, 1)):
        each[_LEVEL] += each[_RATE] * reach
        each[_RATE] *= left
    cov[_LEVEL, _LEVEL] += figures.walk * elapsed + figures.turn * elapsed**3 / 3.0
    cov[_LEVEL, _RATE] += figures.turn * elapsed**2 / 2.0
    cov[_RATE, _LEVEL] += figures.turn * elapsed**2 / 2.0
    cov[_RATE, _RATE] += figures.turn * elapsed


def _forget_level(mean: FloatArray, cov: FloatArray, fresh: BoolArray) -> None:
    """Set the deviation anew, in place, where a unit was adjusted."""
    kept = np.where(fresh, 0.0, 1.0)
    mean[_LEVEL] *= kept
    cov[_LEVEL] *= kept
    cov[:, _LEVEL] *= kept
    cov[_LEVEL, _LEVEL] += np.where(fresh, _START_SD**2, 0.0)


def _surprise(logs: FloatArray, away: FloatArray, variance: FloatArray) -> FloatArray:
    """Return how far a value lies from the mean foretold, in its standard deviations, (units,)."""
    shares = np.exp(logs - logs.max(axis=0))
    shares /= shares.sum(axis=0)
    centre: FloatArray = (shares * away).sum(axis=0)
    surprise: FloatArray = centre / np.sqrt((shares * (variance + away**2)).sum(axis=0) - centre**2)
    return surprise


def _update(
    mean: FloatArray,
    cov: FloatArray,
    spread: FloatArray,
    told: tuple[FloatArray, FloatArray],
    step: FloatArray,
    step_sd: FloatArray,
) -> FloatArray:
    """Take values in, in place, without and with a step; return the log density of each.

    `spread`: covariance of states and value; `told`: how far the value lies from what was foretold,
    and the variance of that.
    """
    away, variance = told
    extra = step_sd**2
    with np.errstate(divide="ignore"):
        still_log = np.log1p(-step) - 0.5 * (away**2 / variance + np.log(variance))
        moved_log = np.log(step) - 0.5 * (away**2 / (variance + extra) + np.log(variance + extra))
    total = np.logaddexp(still_log, moved_log)
    moved = np.exp(moved_log - total)
    stepped = spread.copy()
    stepped[_LEVEL] += extra
    gain, gain_stepped = spread / variance, stepped / (variance + extra)
    apart = (gain_stepped - gain) * away
    mean += gain * away + moved * apart
    cov[_LEVEL, _LEVEL] += moved * extra
    left, taken, between = (1.0 - moved) * gain, moved * gain_stepped, moved * (1.0 - moved) * apart
    for one in range(4):  # each half by itself: small arrays stay in the processor's cache
        for other in range(one + 1):
            change = between[one] * apart[other]
            change -= left[one] * spread[other] + taken[one] * stepped[other]
            cov[one, other] += change
            if other < one:
                cov[other, one] = cov[one, other]
    density: FloatArray = total - 0.5 * math.log(math.tau)
    return density
