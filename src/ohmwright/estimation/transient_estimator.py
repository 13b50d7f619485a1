"""Estimates the eight coefficients from the readings of an activation, in which the trim may move.

The coefficients that are linear in the readings (those of the trim, droop, departures) are
integrated out. Lag, dead time and ratio of the poles are found by Gauss-Newton and kept as
linearised columns, so that their uncertainty enters every estimate. Correlation of the noise and
departures from the model are averaged over a grid. Readings of the rise count less: no output rises
exactly as two lags do.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace
from math import exp, sqrt

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import (
    CORRELATIONS,
    LOG_SHARES,
    Flags,
    Moments,
    Noise,
    Posterior,
    Prior,
    moments,
    regress,
    spikes,
)
from .coefficients import (
    COUNT,
    DYNAMIC,
    DYNAMIC_COUNT,
    LINEAR,
    LINEAR_COUNT,
    TRIM,
    Coefficient,
)
from .departures import (
    COURSE_COUNT,
    Explanations,
    course_slopes,
    departure_columns,
    explanations,
    no_departures,
)
from .habits import Habits
from .mixture import weights
from .prior import NoisePrior, TransientPrior, vague_prior
from .step_response import driven
from .thermal_droop import DROOP_TAU_S, droop_shape
from .transient_estimate import ActivationRecord, FitStart, TransientEstimate

Floats = NDArray[np.float64]

_LIMITS = np.log(np.array([[0.05, 6.0], [0.02, 3.0], [0.005, 0.97]]))
"""Bounds of the dynamics' logarithms: lag s, dead time s, ratio of the poles."""
_STEP = 1e-4
"""Change of a logarithm by which slopes are found."""
_STEPS = 4
"""Most Gauss-Newton steps of a fit that begins where another ended; twice as many of a first."""
_SMALL = 0.05
"""A step is small that changes no logarithm by more, in those that the readings tell."""
_FIRST_STEPS = 2
"""A first fit goes on for so many steps, however small: spikes must not look like the rise."""
_TRIED = np.concatenate([np.zeros((1, DYNAMIC_COUNT)), _STEP * np.eye(DYNAMIC_COUNT)])
"""What is added to the dynamics to find their slopes: nothing, then a step of each."""
_SHAPE = 0.01
"""Standard deviation by which a rise leaves the model, relative to what is left to rise."""
_EIGHT = slice(-COUNT - 1, -1)
"""Columns of the eight coefficients; the readings come after them, departures before."""
_LOCAL_S = 0.8
"""Residuals are averaged over so long before and after each reading."""
_RISEN_SHARE = 0.98
"""From this part of the level on a reading shows what the output does beside rising."""
_EXCESS = 6.0
"""Early residuals so many times as large, in square, as the later half's are more than noise."""
_FEWEST = 4
"""Readings from which on there is an estimate."""
_RISEN = 0.05
"""Mean of the last two readings, relative to the target, from which on there is an output."""


def fit_transient(
    record: ActivationRecord,
    prior: TransientPrior,
    noise: NoisePrior,
    start: FitStart | None,
    *,
    departures: bool = False,
) -> TransientEstimate | None:
    """Posterior from the readings so far; None while the output has not begun to rise.

    `start`: where the last fit ended; `departures`: allow for them. Equations that become
    singular are tried once more from a start of their own, then None is returned.
    """
    if record.age_s.size < _FEWEST or np.mean(record.relative[-2:]) < _RISEN:
        return None
    for begin in (None,) if start is None else (start, None):
        with suppress(np.linalg.LinAlgError):
            fit = _fit(_Problem.of(record, prior, noise, departures), begin)
            if np.all(np.isfinite(fit.start.dynamics)):
                return fit
    return None


def linearised(record: ActivationRecord, start: FitStart) -> Floats:
    """Readings per unit of each coefficient about the dynamics of `start`, shape (n, 9).

    The last column is the readings, shifted so that they are the others times the coefficients
    themselves, logarithms of the dynamics included.
    """
    return _Problem.of(record, vague_prior(), NoisePrior(), False).columns(start)


def _fit(problem: _Problem, start: FitStart | None) -> TransientEstimate:
    """Gauss-Newton until the steps are small, once more without spikes, then the posterior."""
    state = start or problem.first_guess()
    for step in range(_STEPS if start is not None else 2 * _STEPS):
        columns, moved, state = problem.improve(state)
        if moved < _SMALL and (start is not None or step >= _FIRST_STEPS):
            break
    flags = problem.spikes(columns, state)
    if np.any(flags & problem.keep):
        problem = replace(problem, keep=problem.keep & ~flags)
        columns, _, state = problem.improve(state)
    excess = problem.early_excess(columns, state)
    if np.any(excess):
        problem = replace(problem, excess=excess)
        for _ in range(_STEPS):
            _, moved, state = problem.improve(state)
            if moved < _SMALL:
                break
    return problem.posterior(state)


@dataclass(frozen=True)
class _Problem:
    """The readings, shape (n,), and what is known before them.

    `precision`: inverse covariance of the prior; `keep` (n,): readings that count; `departures`:
    whether they are allowed for.
    """

    record: ActivationRecord
    prior: TransientPrior
    precision: Floats
    noise: NoisePrior
    keep: Flags
    departures: bool
    excess: Floats
    """Variance of each reading beyond noise, by which early readings leave the model."""

    @classmethod
    def of(
        cls, record: ActivationRecord, prior: TransientPrior, noise: NoisePrior, departures: bool
    ) -> _Problem:
        """The problem of a record, in which all readings count."""
        keep = np.ones(record.age_s.size, dtype=np.bool_)
        excess = np.zeros(record.age_s.size)
        return cls(record, prior, prior.precision, noise, keep, departures, excess)

    @property
    def floor(self) -> float:
        """Variance that the meter's resolution causes, relative to the target."""
        return self.record.resolution**2 / 12 + 1e-10

    def _noise(self) -> Noise:
        """Prior of the noise, the meter's resolution included."""
        return Noise(self.noise.sd**2 + self.floor, self.noise.dof)

    def _linear_columns(self, dynamics: Floats) -> Floats:
        """Readings per unit of each linear coefficient for b dynamics, shape (b, n, 5)."""
        record = self.record
        responses = driven(record.age_s, record.window_s, np.exp(dynamics), record.steps)
        columns = np.empty((*responses.shape[:2], LINEAR_COUNT))
        columns[..., TRIM] = responses
        warm_s = record.age_s - _delay_s(dynamics)[:, None]
        droop = droop_shape(warm_s, record.at_age_s, record.window_s, record.heat)
        columns[..., Coefficient.DROOP] = -responses[..., Coefficient.LEVEL] * droop
        return columns

    def first_guess(self) -> FitStart:
        """The most probable of a coarse grid of lags and dead times."""
        prior, dynamics = self.prior, _grid(self.prior)
        readings = np.broadcast_to(
            self.record.relative[:, None], (dynamics.shape[0], self.keep.size, 1)
        )
        columns = np.concatenate([self._linear_columns(dynamics), readings], axis=2)
        sums = moments(columns, self.keep)
        variance = self._noise().variance
        linear_prior = self._prior(variance, prior.mean[LINEAR])
        phi = np.array([0.5])
        fit = regress(sums.whitened(phi), linear_prior, self._noise(), sums.count, 0.0)
        away = (dynamics - prior.mean[DYNAMIC]) / np.sqrt(np.diag(prior.covariance))[DYNAMIC]
        best = int(np.argmax(fit.log_evidence[:, 0] - 0.5 * np.sum(away**2, axis=1)))
        return FitStart(dynamics[best], fit.mean[best, 0], 0.5, variance)

    def _prior(self, variance: float, mean: Floats) -> Prior:
        """Prior of the first p coefficients under noise of a variance, `mean` (p,)."""
        p = mean.size
        normal = np.zeros((p + 1, p + 1))
        precision = variance * self.precision[:p, :p]
        normal[:p, :p] = precision
        normal[:p, p] = normal[p, :p] = precision @ mean
        normal[p, p] = mean @ precision @ mean
        return Prior(normal, 0.0)

    def columns(self, state: FitStart) -> Floats:
        """Departures, if any, the eight coefficients' columns, and the readings, shape (n, q).

        The linearised ones are for the logarithms of the dynamics themselves, not for their change,
        so what the present dynamics contribute is added to the readings.
        """
        base = self._linear_columns(state.dynamics + _TRIED)
        values = base @ state.linear
        slopes = (values[1:] - values[0]).T / _STEP
        shifted = self.record.relative + slopes @ state.dynamics
        eight = np.concatenate([base[0], slopes, shifted[:, None]], axis=1)
        if not self.departures:
            return eight
        return np.concatenate([self._departures(state, base[0][:, Coefficient.LEVEL]), eight], 1)

    def _departures(self, state: FitStart, risen: Floats) -> Floats:
        """Columns of the departures, shape (n, DEPARTURE_COUNT)."""
        record = self.record
        _, log_dead_time, _ = state.dynamics
        return departure_columns(
            record.age_s,
            risen,
            dead_time_s=float(np.exp(log_dead_time)),
            warm_s=record.age_s - 0.5 * record.window_s - _delay_s(state.dynamics),
            at_age_s=record.at_age_s,
        )

    def weighted(self, columns: Floats, state: FitStart) -> Floats:
        """Columns and readings over the standard deviation of each reading, relative to the noise.

        Besides noise a reading may leave the model by part of what is left to rise.
        """
        to_rise = 1 - columns[:, _EIGHT][:, Coefficient.LEVEL]
        beyond = (_SHAPE * to_rise) ** 2 + self.excess
        sd: Floats = np.sqrt(1 + beyond / state.variance)
        return columns / sd[:, None]

    def early_excess(self, columns: Floats, state: FitStart) -> Floats:
        """Variance, shape (n,), by which early readings leave the fit more than the latest ones do.

        What an output does while it settles is then not taken for noise of the settled output.
        """
        fitted = columns[:, LINEAR] @ state.linear + columns[:, DYNAMIC] @ state.dynamics
        square = np.where(self.keep, (columns[:, -1] - fitted) ** 2, 0.0)
        age_s = self.record.age_s
        ends = np.searchsorted(age_s, age_s + _LOCAL_S, side="right")
        sums = np.concatenate([[0.0], np.cumsum(square)])
        starts = np.searchsorted(age_s, age_s - _LOCAL_S)
        local = (sums[ends] - sums[starts]) / (ends - starts)
        late = float(np.mean(local[age_s.size // 2 :]))
        early = local > _EXCESS * (late + self.floor)
        early[age_s.size // 2 :] = False
        excess: Floats = np.where(early, local, 0.0)
        return excess

    def improve(self, state: FitStart) -> tuple[Floats, float, FitStart]:
        """One Gauss-Newton step: columns, largest change (vague ones count less), end."""
        columns = self.columns(state)[:, -COUNT - 1 :]
        sums = moments(self.weighted(columns, state), self.keep)
        prior = self._prior(state.variance, self.prior.mean)
        normal = sums.whitened(CORRELATIONS)
        starts = sums.start_terms(CORRELATIONS) + LOG_SHARES
        fit = regress(normal, prior, self._noise(), sums.count, starts)
        best = int(np.argmax(fit.log_evidence))
        mean = fit.mean[best]
        change = np.clip(mean[DYNAMIC] - state.dynamics, -0.5, 0.5)
        sd = np.sqrt(fit.scale2[best] * np.diag(fit.covariance[best])[DYNAMIC]) + 1e-3
        dynamics = np.clip(state.dynamics + change, *_LIMITS.T)
        variance = float(fit.scale2[best])
        moved = float(np.max(np.abs(change) * np.minimum(1.0, 0.2 / sd)))
        found = FitStart(dynamics, mean[LINEAR], float(CORRELATIONS[best]), variance)
        return columns, moved, found

    def spikes(self, columns: Floats, state: FitStart) -> Flags:
        """Flags of the readings that are spikes, shape (n,)."""
        fitted = columns[:, LINEAR] @ state.linear + columns[:, DYNAMIC] @ state.dynamics
        return spikes(columns[:, -1] - fitted, state.correlation, self.keep)

    def posterior(self, state: FitStart) -> TransientEstimate:
        """Posterior around `state`, averaged over correlations of the noise and hunting."""
        columns = self.columns(state)
        sums = moments(self.weighted(columns, state), self.keep)
        fit, found = self._members(sums, state)
        weight = weights(fit.log_evidence + found.log_probability)
        swing = self._swing(columns[:, -COUNT - 1 :], state)
        columns = columns[:, _EIGHT]
        covariance = fit.scale2[..., None, None] * fit.covariance[..., -COUNT:, -COUNT:]
        to_come = (self.record.steps.last_position - columns[-1, TRIM]) @ state.linear[TRIM]
        slope = columns[-1, DYNAMIC]
        unsure = np.einsum("ab,abij->ij", weight, covariance)[DYNAMIC, DYNAMIC]
        return TransientEstimate(
            weight=weight.ravel(),
            mean=fit.mean[..., -COUNT:].reshape(-1, COUNT),
            covariance=covariance.reshape(-1, COUNT, COUNT),
            dof=fit.dof,
            floor=self.floor,
            habits=Habits(
                hunting=float(weight[:, found.hunts].sum()),
                other_shape=float(weight[:, found.other_shape].sum()),
                swing=swing,
            ),
            remainder=float(abs(to_come) + 2 * np.sqrt(slope @ unsure @ slope)),
            droop_uncertainty=self._droop_uncertainty(fit, weight, state),
            autocorrelation=float(weight.sum(axis=1) @ CORRELATIONS),
            start=state,
        )

    def _swing(self, columns: Floats, state: FitStart) -> float:
        """Standard deviation of the risen readings about the plain fit, relative to the target."""
        fitted = columns[:, LINEAR] @ state.linear + columns[:, DYNAMIC] @ state.dynamics
        risen = self.keep & (columns[:, Coefficient.LEVEL] > _RISEN_SHARE)
        return float(np.std((columns[:, -1] - fitted)[risen])) if np.any(risen) else 0.0

    def _droop_uncertainty(self, fit: Posterior, weight: Floats, state: FitStart) -> float:
        """Standard uncertainty of the level by where in the chain of lag and dead time it droops.

        It may warm from the beginning or once output flows, and droop before the lag or behind it:
        each shifts the age at which the readings show it by up to the delay, uniformly.
        """
        at_s, heat = self.record.at_age_s, self.record.heat
        per_s = np.zeros(fit.mean.shape[-1])
        per_s[-COUNT + Coefficient.DROOP] = -(1 - heat) * exp(-at_s / DROOP_TAU_S) / DROOP_TAU_S
        if self.departures:
            per_s[:COURSE_COUNT] = course_slopes(at_s)
        variance = fit.scale2 * ((fit.covariance @ per_s) @ per_s)
        mean_square = float(np.vdot(weight, (fit.mean @ per_s) ** 2 + variance))
        return sqrt(mean_square / 6.0) * float(_delay_s(state.dynamics))

    def _members(self, sums: Moments, state: FitStart) -> tuple[Posterior, Explanations]:
        """Posteriors of shape (correlations, explanations), and the explanations.

        The last coefficients are the eight; those of the droop's course come before them.
        """
        prior = self._prior(state.variance, self.prior.mean)
        normal = sums.whitened(CORRELATIONS)[:, None]
        starts = (sums.start_terms(CORRELATIONS) + LOG_SHARES)[:, None]
        noise, count = self._noise(), sums.count
        if not self.departures:
            return regress(normal, prior, noise, count, starts), no_departures(prior)
        found = explanations(prior, state.variance, self.noise.habits)
        fit = regress(normal, found.prior, noise, count, starts, last=COURSE_COUNT + COUNT)
        return fit, found


def _delay_s(dynamics: Floats) -> Floats:
    """Dead time and both lags together, s, shape (...), of dynamics (..., 3)."""
    lag_s, dead_time_s, pole_ratio = np.moveaxis(np.exp(dynamics), -1, 0)
    delay_s: Floats = dead_time_s + lag_s * (1 + pole_ratio)
    return delay_s


def _grid(prior: TransientPrior) -> Floats:
    """Dynamics, shape (64, 3): eight lags by eight dead times, -2 to 1.5 sd of the prior."""
    lag, dead_time = np.meshgrid(
        *(
            prior.mean_of(each) + prior.sd_of(each) * np.linspace(-2, 1.5, 8)
            for each in (Coefficient.LOG_LAG, Coefficient.LOG_DEAD_TIME)
        )
    )
    ratio = np.full(lag.size, prior.mean_of(Coefficient.LOG_POLE_RATIO))
    grid: Floats = np.clip(np.stack([lag.ravel(), dead_time.ravel(), ratio], 1), *_LIMITS.T)
    return grid
