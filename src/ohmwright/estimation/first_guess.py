"""Where the fit of an activation begins: the best of a coarse grid of lags and dead times."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .activation_record import FitStart
from .ar1_regression import Decomposition, decompose, moments
from .coefficients import DYNAMIC, LINEAR_COUNT, Coefficient
from .prior import TransientPrior
from .transient_problem import Problem, dynamics_limits

Floats = NDArray[np.float64]

_GRID_SDS = np.append([-3.4, -2.7], np.linspace(-2, 1.5, 8))
"""Grid of lags and of dead times for a first fit, in standard deviations of the prior."""


def first_guess(problem: Problem) -> FitStart:
    """The most probable point of a coarse grid of lags and dead times, with its coefficients."""
    prior, dynamics = problem.prior, _grid(problem.prior)
    move_delay, variance = problem.noise.habits.move_delay, problem.noise_prior().variance
    fit = linear_fit(problem, problem.linear_columns(dynamics, move_delay), 0.5, variance)
    away = (dynamics - prior.mean[DYNAMIC]) / np.sqrt(np.diag(prior.covariance))[DYNAMIC]
    best = int(np.argmax(fit.log_evidence[:, 0] - 0.5 * np.sum(away**2, axis=1)))
    linear = fit.posterior(LINEAR_COUNT, best).mean[0]
    return FitStart(dynamics[best], linear, 0.5, variance, move_delay)


def linear_fit(
    problem: Problem, columns: Floats, correlation: float, variance: float
) -> Decomposition:
    """Fit of the five linear coefficients alone to b designs, shape (b, 1): `columns` (b, n, 5)."""
    readings = np.broadcast_to(problem.record.relative[:, None], (*columns.shape[:2], 1))
    sums = moments(np.concatenate([columns, readings], axis=2), problem.keep)
    droop = problem.prior.mean_of(Coefficient.DROOP)
    prior = problem.coefficients_prior(variance, droop, LINEAR_COUNT)
    normal = sums.whitened(np.array([correlation]))
    return decompose(normal, prior, problem.noise_prior(), sums.count, 0.0)


def _grid(prior: TransientPrior) -> Floats:
    """Dynamics, shape (100, 3): ten lags by ten dead times, also far quicker ones than usual."""
    lag, dead_time = np.meshgrid(
        *(
            prior.mean_of(each) + prior.sd_of(each) * _GRID_SDS
            for each in (Coefficient.LOG_LAG, Coefficient.LOG_DEAD_TIME)
        )
    )
    ratio = np.full(lag.size, prior.mean_of(Coefficient.LOG_POLE_RATIO))
    dynamics = np.stack([lag.ravel(), dead_time.ravel(), ratio], 1)
    grid: Floats = np.clip(dynamics, *dynamics_limits(dynamics[0]))
    return grid
