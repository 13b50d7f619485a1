"""The transient of an activation with moves in it: level, gain, droop, lag, dead time, second pole.

Everything that enters linearly (level, gain per count, true size of a coarse press, curvature,
droop, hunting) is integrated out; lag, dead time and second pole are found by Gauss-Newton
and carried as linearised columns, so that their uncertainty is in every answer. Correlation of
the noise and hunting are averaged over a grid.
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
    diagonal_prior,
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
from .mixture import weights
from .prior import NoisePrior, TransientPrior
from .step_response import driven
from .thermal_droop import droop_shape
from .transient_estimate import ActivationRecord, FitStart, TransientEstimate

Floats = NDArray[np.float64]

_LIMITS = np.log(np.array([[0.05, 6.0], [0.02, 3.0], [0.005, 0.97]]))
_STEP = 1e-4
_FEWEST = 4


def fit_transient(
    record: ActivationRecord,
    prior: TransientPrior,
    noise: NoisePrior,
    start: FitStart | None,
    *,
    hunting: bool = False,
) -> TransientEstimate | None:
    """Posterior from the readings so far; None while the output has not begun to rise.

    A start from which the equations become singular is given up for a new one; should that
    fail too there is no estimate, which no decision can rest on.
    """
    if record.age_s.size < _FEWEST or np.mean(record.relative[-2:]) < 0.05:
        return None
    for begin in (None,) if start is None else (start, None):
        with suppress(np.linalg.LinAlgError):
            fit = _fit(_Problem.of(record, prior, noise, hunting), begin)
            if np.all(np.isfinite(fit.start.dynamics)):
                return fit
    return None


def _fit(problem: _Problem, start: FitStart | None) -> TransientEstimate:
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
    record: ActivationRecord
    prior: TransientPrior
    precision: Floats
    noise: NoisePrior
    keep: Flags
    hunting: Floats
    droop: Floats

    @classmethod
    def of(
        cls,
        record: ActivationRecord,
        prior: TransientPrior,
        noise: NoisePrior,
        hunting: bool,
    ) -> _Problem:
        waves = [np.empty((record.age_s.size, 0))]
        if hunting:
            for period_s in noise.hunting_periods_s:
                angle = 2 * np.pi / period_s * record.age_s
                waves.append(np.stack([np.sin(angle), np.cos(angle)], axis=1))
        droop = -droop_shape(record.age_s, record.at_age_s, record.window_s, record.heat)
        keep = np.ones(record.age_s.size, dtype=np.bool_)
        swings = np.concatenate(waves, 1)
        return cls(record, prior, prior.precision, noise, keep, swings, droop)

    @property
    def floor(self) -> float:
        return self.record.resolution**2 / 12 + 1e-10

    def _noise(self) -> Noise:
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
        """The best of a coarse grid of lags and dead times."""
        prior = self.prior
        lag, dead_time = np.meshgrid(
            *(
                prior.mean_of(each) + prior.sd_of(each) * np.linspace(-2, 1.5, 8)
                for each in (Coefficient.LOG_LAG, Coefficient.LOG_DEAD_TIME)
            )
        )
        ratio = np.full(lag.size, prior.mean_of(Coefficient.LOG_POLE_RATIO))
        dynamics = np.clip(np.stack([lag.ravel(), dead_time.ravel(), ratio], 1), *_LIMITS.T)
        columns = np.concatenate(
            [
                self._linear_columns(dynamics),
                np.broadcast_to(self.record.relative[:, None], (lag.size, self.keep.size, 1)),
            ],
            axis=2,
        )
        sums = moments(columns, self.keep)
        variance = self._noise().variance
        linear_prior = self._prior(variance, prior.mean[LINEAR])
        phi = np.array([0.5])
        fit = regress(sums.whitened(phi), linear_prior, self._noise(), sums.count, 0.0)
        away = (dynamics - prior.mean[DYNAMIC]) / np.sqrt(np.diag(prior.covariance))[DYNAMIC]
        best = int(np.argmax(fit.log_evidence[:, 0] - 0.5 * np.sum(away**2, axis=1)))
        return FitStart(dynamics[best], fit.mean[best, 0], 0.5, variance)

    def _prior(self, variance: float, mean: Floats) -> Prior:
        """Of the first coefficients, as many as there are means."""
        p = mean.size
        normal = np.zeros((p + 1, p + 1))
        precision = variance * self.precision[:p, :p]
        normal[:p, :p] = precision
        normal[:p, p] = normal[p, :p] = precision @ mean
        normal[p, p] = mean @ precision @ mean
        return Prior(normal, 0.0)

    def columns(self, state: FitStart) -> Floats:
        """Linear, linearised, hunting columns and the readings; shape (n, 8 + hunting + 1).

        The linearised ones stand for the dynamics' absolute values, so that the readings are moved
        by what the present dynamics contribute.
        """
        tried = state.dynamics + np.concatenate(
            [np.zeros((1, DYNAMIC_COUNT)), _STEP * np.eye(DYNAMIC_COUNT)]
        )
        base = self._linear_columns(tried)
        values = base @ state.linear
        slopes = (values[1:] - values[0]).T / _STEP
        shifted = self.record.relative + slopes @ state.dynamics
        swings = self.hunting * base[0][:, Coefficient.LEVEL, None]
        return np.concatenate([base[0], slopes, swings, shifted[:, None]], axis=1)

    def improve(self, state: FitStart) -> tuple[Floats, float, FitStart]:
        """One Gauss-Newton step; the columns it used, how far it went, and where to."""
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
        fitted = columns[:, LINEAR] @ state.linear + columns[:, DYNAMIC] @ state.dynamics
        return spikes(columns[:, -1] - fitted, state.correlation, self.keep)

    def posterior(self, state: FitStart) -> TransientEstimate:
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
        prior = self._prior(state.variance, self.prior.mean)
        normal = sums.whitened(CORRELATIONS)
        starts = (sums.start_terms(CORRELATIONS) + LOG_SHARES)[:, None]
        waves = self.hunting.shape[1] // 2
        if waves == 0:
            fit = regress(normal[:, None], prior, self._noise(), sums.count, starts)
            return fit, np.zeros(1)
        amplitudes = self.noise.hunting_amplitudes
        kinds = [(COUNT, 1e-7)] + [
            (COUNT + 2 * wave, amplitude) for wave in range(waves) for amplitude in amplitudes
        ]
        y = normal.shape[-1] - 1
        members = np.array([[*range(COUNT), c, c + 1, y] for c, _ in kinds])
        normal = normal[:, members[:, :, None], members[:, None, :]]
        held = np.array([[state.variance / (a * a / 2)] * 2 for _, a in kinds])
        whole = np.zeros((len(kinds), COUNT + 3, COUNT + 3))
        own = [*range(COUNT), COUNT + 2]
        whole[:, np.array(own)[:, None], np.array(own)] = prior.normal
        waved = diagonal_prior(np.zeros(2), held)
        whole[:, COUNT : COUNT + 2, COUNT : COUNT + 2] = waved.normal[:, :2, :2]
        share = self.noise.hunting / (len(kinds) - 1)
        log_prior = np.log(np.array([1 - self.noise.hunting] + [share] * (len(kinds) - 1)))
        full = Prior(whole, waved.log_determinant)
        return regress(normal, full, self._noise(), sums.count, starts), log_prior
