"""Finds the lag, dead time, ratio of the poles and delay of moves that fit an activation best."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from math import log, sqrt

import numpy as np
from numpy.typing import NDArray

from .activation_record import ActivationRecord, FitStart
from .ar1_regression import (
    CORRELATIONS,
    Decomposition,
    Prior,
    decompose,
    mean,
    moments,
    spikes,
)
from .coefficients import COUNT, DYNAMIC, LINEAR, LINEAR_COUNT, Coefficient
from .first_guess import first_guess, linear_fit
from .transient_problem import Problem, delay_s, dynamics_limits

Floats = NDArray[np.float64]

_STEPS = 4
"""Most Gauss-Newton steps of a fit that begins where another ended; a first one has twice these."""
_SMALL = 0.05
"""Largest change of a logarithm by a small step, which ends the iteration."""
_LARGEST_STEP = 0.5
"""Largest change of a logarithm by any step: farther off the linearised model says nothing."""
_UNSURE_SD = 0.2
"""Standard deviation of a logarithm from which its changes count less: what the readings hardly
tell need not stand still."""
_POOR = 1e-4
"""Variance, relative to the target, above which a fit may have converged to a wrong optimum."""
_OTHERWISE_BETTER = 3.0
"""Difference of log evidence above which the other rise, or another averaging, is believed."""
_FIRST_STEPS = 2
"""Steps of a first fit after which it never ends: spikes could pass for the rise."""
_MOVE_DELAYS = (1.0, 0.35, 0.05, 2.5)
"""Delays of moves that are tried, over the delay of the rise: less than 1 where what makes the rise
slow lies before the trim, more where the trim has a lag of its own."""
_FAR_BETTER = 5.0
"""Difference of log evidence above which another delay of moves is taken."""
_SEEN_SDS = 4.0
"""A gain counts as seen from so many standard deviations on."""
_SEARCH_EVERY_S = 0.5
"""Shortest time between two searches for the delay of moves, or for another explanation."""
_SEARCH_FROM_S = 0.27
"""Age of the first search. Few meters have readings just 0.27 s, 0.77 s … old: then the rounding of
an age would decide which reading is searched at."""
_LOCAL_S = 0.8
"""Squares of residuals are averaged over this time before and after each reading."""
_EXCESS = 6.0
"""Ratio of early to late mean square residual above which the early ones are more than noise."""


@dataclass(frozen=True)
class TransientFit:
    """The last Gauss-Newton step: from the state `linearised_at` to `state`.

    `columns` (n, 9): of the eight coefficients and the readings, linearised at the former. At
    convergence the two states differ by less than the readings can tell.
    """

    linearised_at: FitStart
    columns: Floats
    state: FitStart
    by_correlation: Decomposition
    """The regression under each correlation of the noise, shape (correlations, 1)."""
    largest_change: float
    """Largest change of a logarithm by this step, less where its uncertainty is large."""
    log_evidence: float

    @cached_property
    def residuals(self) -> Floats:
        """Readings less the fit, shape (n,)."""
        columns, state = self.columns, self.state
        fitted = columns[:, LINEAR] @ state.linear + columns[:, DYNAMIC] @ state.dynamics
        residuals: Floats = columns[:, -1] - fitted
        return residuals


def best_fit(problem: Problem, start: FitStart | None) -> tuple[Problem, TransientFit]:
    """Return `problem` as it was fitted in the end, and its fit by Gauss-Newton.

    In it spikes do not count, and rise and averaging are those that explain the readings better.
    `start`: where an earlier fit ended; None for a first one.
    """
    if start is None:
        fit = _from_first_guess(problem)
    else:
        problem = problem.as_in(start)
        fit = _better_of_two_starts(problem, _converged(problem, start, _STEPS))
    if _is_explained_poorly(problem, fit):
        problem, fit = _or_explained_otherwise(problem, fit)
    if _is_delay_due(problem.record, fit.state.dynamics):
        fit = _with_best_delay(problem, fit)
    flags = spikes(fit.residuals, fit.state.correlation, problem.keep)
    if (flags & problem.keep).any():
        problem = replace(problem, keep=problem.keep & ~flags)
        fit = _improved(problem, fit.state)
    return problem, fit


def without_early_departures(problem: Problem, fit: TransientFit) -> tuple[Problem, TransientFit]:
    """`problem` in which early readings count less that leave its `fit`, and the fit then."""
    excess, settled = _early_excess(problem, fit)
    if excess.any():
        problem = replace(problem, excess=excess)
        fit = _converged(problem, replace(fit.state, variance=settled), _STEPS)
    return problem, fit


def _converged(
    problem: Problem, state: FitStart, most_steps: int, at_least: int = 0
) -> TransientFit:
    """The fit once a step after the first `at_least` is small, or after `most_steps`."""
    for step in range(most_steps):
        fit = _improved(problem, state)
        if fit.largest_change < _SMALL and step >= at_least:
            break
        state = fit.state
    return fit


def _better_of_two_starts(problem: Problem, fit: TransientFit) -> TransientFit:
    """`fit`; where it is poor, one from a first guess if that explains the readings better."""
    if fit.state.variance < _POOR:
        return fit
    anew = _from_first_guess(problem)
    return anew if anew.log_evidence > fit.log_evidence else fit


def _or_explained_otherwise(problem: Problem, fit: TransientFit) -> tuple[Problem, TransientFit]:
    """`problem` and `fit`, or those of an alternative if they explain more.

    Each is judged under its own prior.
    """
    for other in problem.alternatives:
        anew = _from_first_guess(other)
        if _comparable_evidence(anew) > _comparable_evidence(fit) + _OTHERWISE_BETTER:
            problem, fit = other, anew
    return problem, fit


def _is_explained_poorly(problem: Problem, fit: TransientFit) -> bool:
    """Whether to try alternatives at the latest reading: this is poor, or hardly believed."""
    if fit.state.variance >= _POOR:
        return True
    if not _is_due(problem.record):
        return False
    return problem.noise.habits.rises_otherwise or bool(_early_excess(problem, fit)[0].any())


def _comparable_evidence(fit: TransientFit) -> float:
    """Log evidence of `fit`, to be held against that of one whose noise was found to be other.

    `coefficients_prior` leaves out the determinant, which grows with the variance of the noise.
    """
    return fit.log_evidence + 0.5 * COUNT * log(fit.state.variance)


def _from_first_guess(problem: Problem) -> TransientFit:
    return _converged(problem, first_guess(problem), 2 * _STEPS, _FIRST_STEPS)


def _with_best_delay(problem: Problem, fit: TransientFit) -> TransientFit:
    """`fit`, or one with another delay of moves where that explains the readings far better.

    Each has its own lag and dead time, and no prior of the gain (one of the wrong sign would favour
    a delay by which moves have yet to act). With another delay the moves must be seen: a rise that
    leaves the model looks like moves without effect.
    """
    vague_problem = replace(problem, prior=problem.prior.with_vague_gain())
    other = _other_delay(vague_problem, fit.state)
    if other is None:
        return fit
    present = _converged(vague_problem, fit.state, _STEPS)
    changed = _converged(vague_problem, other, _STEPS)
    better = changed.log_evidence > present.log_evidence + _FAR_BETTER
    return _converged(problem, changed.state, _STEPS) if better else fit


def _other_delay(problem: Problem, state: FitStart) -> FitStart | None:
    """`state` with a delay of moves that fits far better with these dynamics; None if none does."""
    dynamics = state.dynamics[None]
    columns = problem.linear_columns(dynamics, np.array(_MOVE_DELAYS))
    found = linear_fit(problem, columns, state.correlation, state.variance)
    log_evidence, gain = found.log_evidence[:, 0], Coefficient.GAIN
    best = int(np.argmax(log_evidence))
    present = _MOVE_DELAYS.index(state.move_delay)
    fit = found.posterior(LINEAR_COUNT, best)
    gain_sd = sqrt(fit.scale2[0] * fit.covariance[0, gain, gain])
    seen = abs(fit.mean[0, gain]) > _SEEN_SDS * gain_sd
    if not seen or log_evidence[best] < log_evidence[present] + _FAR_BETTER:
        return None
    return replace(state, move_delay=_MOVE_DELAYS[best], linear=fit.mean[0])


def _is_delay_due(record: ActivationRecord, dynamics: Floats) -> bool:
    """Whether to search for the delay of moves at the latest reading of `record`.

    Not before a move with the delay of the rise would show: until then the rise, not yet known
    well, is easily taken for a move that acts at once.
    """
    if record.steps.at_s.size == 1:
        return False
    shown_s = record.steps.at_s[1] + float(delay_s(dynamics)) + 0.5 * record.averaged_s
    return bool(record.age_s[-1] > shown_s) and _is_due(record)


def _is_due(record: ActivationRecord) -> bool:
    """Whether to search at the latest reading of `record` for what takes long to find."""
    before, now = (record.age_s[-2:] - _SEARCH_FROM_S) // _SEARCH_EVERY_S
    return bool(now > before)


def _improved(problem: Problem, state: FitStart) -> TransientFit:
    """Take one Gauss-Newton step from `state`."""
    columns = problem.columns(state)
    prior = problem.coefficients_prior(state.variance, state.droop)
    found = decomposed_by_correlation(problem, problem.weighted(columns, state), prior)
    best = int(np.argmax(found.log_evidence))
    fit = found.posterior(COUNT, best)
    centre, variance = fit.mean[0], float(fit.scale2[0])
    change = _between(centre[DYNAMIC] - state.dynamics, -_LARGEST_STEP, _LARGEST_STEP)
    spread = fit.spread[0, :, DYNAMIC]
    variances = (variance * np.add.reduce(spread * spread)).tolist()
    moved = max(
        abs(each) * min(1.0, _UNSURE_SD / (sqrt(own) + 1e-3))
        for each, own in zip(change.tolist(), variances, strict=True)
    )
    dynamics = _between(state.dynamics + change, *dynamics_limits(state.dynamics))
    correlation = float(CORRELATIONS[best])
    averaging, delay = problem.record.averaging, state.move_delay
    improved = FitStart(dynamics, centre[LINEAR], correlation, variance, delay, averaging)
    return TransientFit(state, columns, improved, found, moved, float(fit.log_evidence[0]))


def decomposed_by_correlation(problem: Problem, columns: Floats, prior: Prior) -> Decomposition:
    """Decomposition under each correlation of the noise, shape (correlations, 1).

    `columns`, (n, q): weighted, the readings last; `prior`: of their coefficients.
    """
    sums = moments(columns, problem.keep)
    normal, starts = sums.on_the_grid()
    return decompose(normal, prior, problem.noise_prior(), sums.count, starts)


def _between(values: Floats, low: Floats | float, high: Floats | float) -> Floats:
    """Return `values` no lower and no higher than that; numpy's own is slow for a few."""
    return np.minimum(np.maximum(values, low), high)


def _early_excess(problem: Problem, fit: TransientFit) -> tuple[Floats, float]:
    """Excess variance of early readings, shape (n,), and the variance of the latest third.

    What an output does while it settles is then not taken for noise of the settled output.
    """
    age_s, left = problem.record.age_s, fit.residuals
    settled = 2 * age_s.size // 3
    # a rise that is not the model's can leave the fit off where the output has long been still
    square = np.where(problem.keep, (left - mean(left[settled:])) ** 2, 0.0)
    ends = age_s.searchsorted(age_s + _LOCAL_S, side="right")
    sums = np.zeros(age_s.size + 1)
    square.cumsum(out=sums[1:])
    starts = age_s.searchsorted(age_s - _LOCAL_S)
    local = (sums[ends] - sums[starts]) / (ends - starts)
    late = mean(local[settled:])
    early = local > _EXCESS * (late + problem.floor)
    early[settled:] = False
    excess: Floats = np.where(early, local, 0.0)
    return excess, late + problem.floor
