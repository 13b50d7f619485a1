"""Finds lag, dead time, ratio of the poles and delay of moves that explain an activation best."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import (
    CORRELATIONS,
    LOG_SHARES,
    Decomposition,
    Flags,
    Posterior,
    decompose,
    moments,
    regress,
    spikes,
)
from .coefficients import COUNT, DYNAMIC, LINEAR, Coefficient
from .prior import TransientPrior
from .transient_estimate import ActivationRecord, FitStart
from .transient_problem import QUICKEST, Problem, delay_s

Floats = NDArray[np.float64]

_LIMITS = np.log(np.array([QUICKEST, [6.0, 3.0, 0.97]]))
"""Bounds of the dynamics' logarithms: lag s, dead time s, ratio of the poles."""
_GRID_SDS = np.append([-3.4, -2.7], np.linspace(-2, 1.5, 8))
"""Where a first fit looks for lag and dead time, in standard deviations of the prior."""
_STEPS = 4
"""Most Gauss-Newton steps of a fit that begins where another ended; twice as many of a first."""
_SMALL = 0.05
"""A step is small that changes no logarithm by more, in those that the readings tell."""
_POOR = 1e-4
"""Variance, relative to the target, from which on a fit may have been led astray by its start."""
_FIRST_STEPS = 2
"""A first fit goes on for so many steps, however small: spikes must not look like the rise."""
_MOVE_DELAYS = (1.0, 0.35, 0.05, 2.5)
"""How soon moves may act, relative to the rise: as late as that, or past what makes it slow."""
_FAR_BETTER = 5.0
"""Difference of the log evidence from which on another of them is taken."""
_SEEN_SDS = 4.0
"""A gain so far from zero is seen."""
_ASKED_EVERY_S = 0.5
"""Another delay is looked for no more often."""
_LOCAL_S = 0.8
"""Residuals are averaged over so long before and after each reading."""
_EXCESS = 6.0
"""Early residuals so many times as large, in square, as the later half's are more than noise."""


@dataclass(frozen=True)
class TransientFit:
    """Where Gauss-Newton has come to: `state`, from columns (n, 9) taken `about` the state before.

    Once the steps are small, the two differ by less than what the readings tell.
    """

    about: FitStart
    columns: Floats
    state: FitStart
    found: Decomposition
    """How well each correlation of the noise, shape (correlations, 1), explains the readings."""
    moved: float
    """Largest change of the last step, vague ones counting less."""
    log_evidence: float

    @property
    def residuals(self) -> Floats:
        """What the fit leaves of the readings, shape (n,)."""
        columns, state = self.columns, self.state
        fitted = columns[:, LINEAR] @ state.linear + columns[:, DYNAMIC] @ state.dynamics
        left: Floats = columns[:, -1] - fitted
        return left


def best_fit(problem: Problem, start: FitStart | None) -> tuple[Problem, TransientFit]:
    """Gauss-Newton until the steps are small, once more without spikes.

    Returns the problem as fitted, some of whose readings count less or not at all, and the fit.
    """
    if start is None:
        fit = _settled(problem, _first_guess(problem), 2 * _STEPS, _FIRST_STEPS)
    else:
        fit = _better_of_two_starts(problem, _settled(problem, start, _STEPS))
    if _is_asked(problem.record, fit.state.dynamics):
        fit = _with_best_delay(problem, fit)
    flags = _spikes(problem, fit)
    if np.any(flags & problem.keep):
        problem = replace(problem, keep=problem.keep & ~flags)
        fit = _improved(problem, fit.state)
    excess, settled = _early_excess(problem, fit)
    if np.any(excess):
        problem = replace(problem, excess=excess)
        fit = _settled(problem, replace(fit.state, variance=settled), _STEPS)
    return problem, fit


def _settled(problem: Problem, state: FitStart, most_steps: int, at_least: int = 0) -> TransientFit:
    """The fit when its steps have become small, or after the last of them."""
    for step in range(most_steps):
        fit = _improved(problem, state)
        if fit.moved < _SMALL and step >= at_least:
            break
        state = fit.state
    return fit


def _better_of_two_starts(problem: Problem, fit: TransientFit) -> TransientFit:
    """`fit`, or one from a start of its own where `fit` is poor and that one explains more."""
    if fit.state.variance < _POOR:
        return fit
    anew = _settled(problem, _first_guess(problem), 2 * _STEPS, _FIRST_STEPS)
    return anew if anew.log_evidence > fit.log_evidence else fit


def _first_guess(problem: Problem) -> FitStart:
    """The most probable of a coarse grid of lags and dead times."""
    prior, dynamics = problem.prior, _grid(problem.prior)
    move_delay, variance = problem.noise.habits.move_delay, problem.noise_prior().variance
    fit = _linear_fit(problem, problem.linear_columns(dynamics, move_delay), 0.5, variance)
    away = (dynamics - prior.mean[DYNAMIC]) / np.sqrt(np.diag(prior.covariance))[DYNAMIC]
    best = int(np.argmax(fit.log_evidence[:, 0] - 0.5 * np.sum(away**2, axis=1)))
    return FitStart(dynamics[best], fit.mean[best, 0], 0.5, variance, move_delay)


def _with_best_delay(problem: Problem, fit: TransientFit) -> TransientFit:
    """`fit`, or that with the delay of moves that explains the readings far better.

    Both are compared with lag and dead time of their own, whatever the gain (a prior of the wrong
    sign would be saved by effects that are still to come), and the moves must show with another
    delay: a rise that is not quite the model's looks like moves without effect.
    """
    vague = problem.prior.with_vague_gain()
    vague_problem = replace(problem, prior=vague, precision=vague.precision)
    other = _other_delay(vague_problem, fit.state)
    if other is None:
        return fit
    now, then = (_settled(vague_problem, each, _STEPS) for each in (fit.state, other))
    better = then.log_evidence > now.log_evidence + _FAR_BETTER
    return _settled(problem, then.state, _STEPS) if better else fit


def _other_delay(problem: Problem, state: FitStart) -> FitStart | None:
    """`state` with another delay of moves that does far better at its dynamics; None if none."""
    dynamics = state.dynamics[None]
    columns = np.concatenate([problem.linear_columns(dynamics, each) for each in _MOVE_DELAYS])
    fit = _linear_fit(problem, columns, state.correlation, state.variance)
    log_evidence, gain = fit.log_evidence[:, 0], Coefficient.GAIN
    best = int(np.argmax(log_evidence))
    now = _MOVE_DELAYS.index(state.move_delay)
    gain_sd = sqrt(fit.scale2[best, 0] * fit.covariance[best, 0, gain, gain])
    seen = abs(fit.mean[best, 0, gain]) > _SEEN_SDS * gain_sd
    if not seen or log_evidence[best] < log_evidence[now] + _FAR_BETTER:
        return None
    return replace(state, move_delay=_MOVE_DELAYS[best], linear=fit.mean[best, 0])


def _is_asked(record: ActivationRecord, dynamics: Floats) -> bool:
    """Whether the delay of moves is looked for at the latest reading of `record`.

    Not before a move as late as the rise would show: until then the rise, which is not known well
    yet, is easily taken for a move that acts at once.
    """
    if record.steps.at_s.size == 1:
        return False
    before_s, now_s = record.age_s[-2:]
    shown_s = record.steps.at_s[1] + float(delay_s(dynamics)) + 0.5 * record.window_s
    return bool(now_s > shown_s and now_s // _ASKED_EVERY_S > before_s // _ASKED_EVERY_S)


def _linear_fit(
    problem: Problem, columns: Floats, correlation: float, variance: float
) -> Posterior:
    """Posterior of the linear coefficients alone, for each of b `columns` (b, n, 5)."""
    readings = np.broadcast_to(problem.record.relative[:, None], (*columns.shape[:2], 1))
    sums = moments(np.concatenate([columns, readings], axis=2), problem.keep)
    prior = problem.coefficients_prior(variance, problem.prior.mean[LINEAR])
    normal = sums.whitened(np.array([correlation]))
    return regress(normal, prior, problem.noise_prior(), sums.count, 0.0)


def _improved(problem: Problem, state: FitStart) -> TransientFit:
    """One Gauss-Newton step."""
    columns = problem.columns(state)
    sums = moments(problem.weighted(columns, state), problem.keep)
    prior = problem.coefficients_prior(state.variance, problem.prior.mean)
    normal = sums.whitened(CORRELATIONS)[:, None]
    starts = sums.start_terms(CORRELATIONS) + LOG_SHARES
    found = decompose(normal, prior, problem.noise_prior(), sums.count, starts[:, None])
    best = int(np.argmax(found.log_evidence))
    fit = found.posterior(COUNT, np.arange(CORRELATIONS.size)[:, None] == best)
    mean, variance = fit.mean[0], float(fit.scale2[0])
    change = np.clip(mean[DYNAMIC] - state.dynamics, -0.5, 0.5)
    sd = np.sqrt(variance * np.diag(fit.covariance[0])[DYNAMIC]) + 1e-3
    dynamics = np.clip(state.dynamics + change, *_LIMITS)
    moved = float(np.max(np.abs(change) * np.minimum(1.0, 0.2 / sd)))
    correlation = float(CORRELATIONS[best])
    improved = FitStart(dynamics, mean[LINEAR], correlation, variance, state.move_delay)
    return TransientFit(state, columns, improved, found, moved, float(fit.log_evidence[0]))


def _spikes(problem: Problem, fit: TransientFit) -> Flags:
    """Flags of the readings that are spikes, shape (n,)."""
    return spikes(fit.residuals, fit.state.correlation, problem.keep)


def _early_excess(problem: Problem, fit: TransientFit) -> tuple[Floats, float]:
    """Variance, shape (n,), by which early readings leave the fit more than the latest; theirs.

    What an output does while it settles is then not taken for noise of the settled output.
    """
    age_s, left = problem.record.age_s, fit.residuals
    settled = 2 * age_s.size // 3
    # a rise that is not the model's can leave the fit off where the output has long been still
    square = np.where(problem.keep, (left - np.mean(left[settled:])) ** 2, 0.0)
    ends = np.searchsorted(age_s, age_s + _LOCAL_S, side="right")
    sums = np.concatenate([[0.0], np.cumsum(square)])
    starts = np.searchsorted(age_s, age_s - _LOCAL_S)
    local = (sums[ends] - sums[starts]) / (ends - starts)
    late = float(np.mean(local[settled:]))
    early = local > _EXCESS * (late + problem.floor)
    early[settled:] = False
    excess: Floats = np.where(early, local, 0.0)
    return excess, late + problem.floor


def _grid(prior: TransientPrior) -> Floats:
    """Dynamics, shape (100, 3): lags by dead times, far quicker ones than usual too."""
    lag, dead_time = np.meshgrid(
        *(
            prior.mean_of(each) + prior.sd_of(each) * _GRID_SDS
            for each in (Coefficient.LOG_LAG, Coefficient.LOG_DEAD_TIME)
        )
    )
    ratio = np.full(lag.size, prior.mean_of(Coefficient.LOG_POLE_RATIO))
    grid: Floats = np.clip(np.stack([lag.ravel(), dead_time.ravel(), ratio], 1), *_LIMITS)
    return grid
