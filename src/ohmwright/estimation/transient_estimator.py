"""Estimates the eight coefficients from the readings of an activation, in which the trim may move.

The coefficients that are linear in the readings (those of the trim, droop, hunting) are integrated
out. Lag, dead time and ratio of the poles are found by Gauss-Newton and kept as linearised columns,
so that their uncertainty enters every estimate. Correlation of the noise and hunting are averaged
over a grid.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, replace

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
    ALL,
    COUNT,
    DYNAMIC,
    DYNAMIC_COUNT,
    LINEAR,
    LINEAR_COUNT,
    TRIM,
    Coefficient,
)
from .hunting import explanations, swings
from .mixture import weights
from .prior import NoisePrior, TransientPrior
from .step_response import driven
from .thermal_droop import droop_shape
from .transient_estimate import ActivationRecord, FitStart, TransientEstimate

Floats = NDArray[np.float64]

_LIMITS = np.log(np.array([[0.05, 6.0], [0.02, 3.0], [0.005, 0.97]]))
"""Bounds of the dynamics' logarithms: lag s, dead time s, ratio of the poles."""
_STEP = 1e-4
"""Change of a logarithm by which slopes are found."""
_TRIED = np.concatenate([np.zeros((1, DYNAMIC_COUNT)), _STEP * np.eye(DYNAMIC_COUNT)])
"""What is added to the dynamics to find their slopes: nothing, then a step of each."""
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
    hunting: bool = False,
) -> TransientEstimate | None:
    """Posterior from the readings so far; None while the output has not begun to rise.

    `start`: where the last fit ended; `hunting`: allow for slow swings. Equations that become
    singular are tried once more from a start of their own, then None is returned.
    """
    if record.age_s.size < _FEWEST or np.mean(record.relative[-2:]) < _RISEN:
        return None
    for begin in (None,) if start is None else (start, None):
        with suppress(np.linalg.LinAlgError):
            fit = _fit(_Problem.of(record, prior, noise, hunting), begin)
            if np.all(np.isfinite(fit.start.dynamics)):
                return fit
    return None


def _fit(problem: _Problem, start: FitStart | None) -> TransientEstimate:
    """Gauss-Newton until the steps are small, once more without spikes, then the posterior."""
    state = start or problem.first_guess()
    for _ in range(4):
        columns, moved, state = problem.improve(state)
        if moved < 0.05:
            break
    flags = problem.spikes(columns, state)
    if np.any(flags & problem.keep):
        problem = replace(problem, keep=problem.keep & ~flags)
        columns, _, state = problem.improve(state)
    return problem.posterior(state)


@dataclass(frozen=True)
class _Problem:
    """The readings, shape (n,), and what is known before them.

    `precision`: inverse covariance of the prior; `keep` (n,): readings that count; `hunting`
    (n, 2 periods): swings, no columns where they are not allowed for; `droop` (n,): change of the
    output per unit of the droop coefficient, relative to the level.
    """

    record: ActivationRecord
    prior: TransientPrior
    precision: Floats
    noise: NoisePrior
    keep: Flags
    hunting: Floats
    droop: Floats

    @classmethod
    def of(
        cls, record: ActivationRecord, prior: TransientPrior, noise: NoisePrior, hunting: bool
    ) -> _Problem:
        """The problem of a record, in which all readings count."""
        droop = -droop_shape(record.age_s, record.at_age_s, record.window_s, record.heat)
        keep = np.ones(record.age_s.size, dtype=np.bool_)
        waves = swings(record.age_s, noise.hunting_periods_s if hunting else ())
        return cls(record, prior, prior.precision, noise, keep, waves, droop)

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
        columns[..., Coefficient.DROOP] = responses[..., Coefficient.LEVEL] * self.droop
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
        """Linear, linearised and hunting columns and the readings, shape (n, 8 + 2 periods + 1).

        The linearised ones are for the logarithms of the dynamics themselves, not for their change,
        so what the present dynamics contribute is added to the readings.
        """
        base = self._linear_columns(state.dynamics + _TRIED)
        values = base @ state.linear
        slopes = (values[1:] - values[0]).T / _STEP
        shifted = self.record.relative + slopes @ state.dynamics
        waves = self.hunting * base[0][:, Coefficient.LEVEL, None]
        return np.concatenate([base[0], slopes, waves, shifted[:, None]], axis=1)

    def improve(self, state: FitStart) -> tuple[Floats, float, FitStart]:
        """One Gauss-Newton step: columns, largest change (vague ones count less), end."""
        columns = self.columns(state)
        plain = np.concatenate([columns[:, ALL], columns[:, -1:]], axis=1)
        sums = moments(plain, self.keep)
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
        sums = moments(columns, self.keep)
        fit, log_prior = self._members(sums, state)
        weight = weights(fit.log_evidence + log_prior)
        hunting = float(weight[:, 1:].sum())
        covariance = fit.scale2[..., None, None] * fit.covariance[..., ALL, ALL]
        to_come = (self.record.steps.last_position - columns[-1, TRIM]) @ state.linear[TRIM]
        slope = columns[-1, DYNAMIC]
        unsure = np.einsum("ab,abij->ij", weight, covariance)[DYNAMIC, DYNAMIC]
        return TransientEstimate(
            weight=weight.ravel(),
            mean=fit.mean[..., ALL].reshape(-1, COUNT),
            covariance=covariance.reshape(-1, COUNT, COUNT),
            dof=fit.dof,
            floor=self.floor,
            hunting=hunting,
            remainder=float(abs(to_come) + 2 * np.sqrt(slope @ unsure @ slope)),
            start=state,
        )

    def _members(self, sums: Moments, state: FitStart) -> tuple[Posterior, Floats]:
        """Posteriors of shape (correlations, explanations); log probability of the latter."""
        prior = self._prior(state.variance, self.prior.mean)
        normal = sums.whitened(CORRELATIONS)
        starts = (sums.start_terms(CORRELATIONS) + LOG_SHARES)[:, None]
        if self.hunting.size == 0:
            fit = regress(normal[:, None], prior, self._noise(), sums.count, starts)
            return fit, np.zeros(1)
        normals, priors, log_probability = explanations(normal, prior, state.variance, self.noise)
        return regress(normals, priors, self._noise(), sums.count, starts), log_probability


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
