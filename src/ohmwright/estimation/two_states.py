"""Finds an output that swings between two states, as one whose regulator teeters does.

Sines of some periods hardly explain a jump to another level and back: the readings before the last
jump would be taken for a rise of another shape, and the state that happens to be the last for the
output. Here the readings are told apart into two states, and the swing between them is taken out of
them, so that what is left is the output midway.

With one jump seen, the output may as well have changed for good (a step of the line voltage), so
that both explanations count; with each further jump, back to where it was, that is less likely.

A jump soon after the rise leaves too little before it to tell two states. What is left of it is an
output that was off, once it had risen, and then came to its level at once: it may go back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, log

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import Prior, mean, median, quantile
from .coefficients import COUNT, Coefficient
from .habits import Habits
from .transient_fit import (
    TransientFit,
    best_fit,
    decomposed_by_correlation,
    without_early_departures,
)
from .transient_problem import Problem

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_UP = 0.9
"""From this part of the level on an output is told apart into two states."""
_RISE = 0.15
"""What a reading may be off by while the output rises, relative to what is left to rise."""
_NOISE = 0.002
"""Usual noise of a reading, relative to the target."""
_FEWEST = 8
"""Readings of such an output from which on two states are looked for."""
_SIZE_SD = 0.02
"""Standard deviation of half the swing, relative to the target, before the readings."""
_BETTER = 4.0
"""Difference of the log evidence from which on two states are believed, and a term per jump."""
_DISTINCT = 3.7
"""Half the swing is at least so many times what the readings are off from both states.

A sine is off by 0.5 of it, other slow swings and the end of a rise by as much or more.
"""
_MOST_NOISE = 1 / 3
"""Up to this part of half the swing, readings may be off both states by their noise besides."""
_MEDIAN_STEP = 0.954
"""Median distance of two normal values, over their standard deviation."""
_LEAST_SDS = 1.5
"""Half the swing is at least so many standard deviations of the readings' noise."""
_ROUNDS = 3
"""How often the levels of both states are taken from the readings in each."""
_FITS = 3
"""How often the readings are told apart, each time about a better fit."""
_UNEVEN = 0.1
"""Standard deviation of the long mean off the middle, over half the swing: dwells may differ."""
_FOR_GOOD = (0.5, 0.1, 0.01, 0.001)
"""Probability that the output has changed for good, after one jump seen, two, three, and more."""
_JUST_BEFORE_S = 1.6
"""Time, beside the meter's window, in which what an output was off is what it jumped by."""
_AT_ONCE = 0.7
"""Part of the most that it was off which it was just before: less is the end of a slow rise."""
_STOOD_S = 0.4
"""It was off by as much when it had risen for so long: before that is the end of a quick rise."""
_ROUNDING_S = 1e-6
"""Difference of ages that is none."""
_MAY_RETURN, _RETURN_S = 0.5, 5.0
"""Probability that an output goes back which has just come to its level at once, and the time in
which that falls by e: it falls as if states lasted 3 to 8 s, seldom longer."""


@dataclass(frozen=True)
class Arrival:
    """How an output came to its level: it was `off` by so much until `age_s`, then no more.

    `off`: relative to the target, 0 where it rose to its level and stayed there.
    """

    off: float = 0.0
    age_s: float = 0.0

    def may_return(self, now_s: float) -> float:
        """Probability that it goes back, at the age `now_s` until which it has not."""
        return _MAY_RETURN * exp(-(((now_s - self.age_s) / _RETURN_S) ** 2))


@dataclass(frozen=True)
class Swing:
    """A swing between two states, relative to the target.

    `course`, shape (n,): where between them, -1 to 1, the mean over each reading's window lies;
    `half`: half the distance of the states; `sd`: its standard deviation; `jumps`: how many the
    readings show.
    """

    course: Floats
    half: float
    sd: float
    jumps: int

    def share(self, habits: Habits) -> float:
        """Probability of it, against that of an output that has changed for good.

        `habits`: of the unit, by its earlier activations.
        """
        jumps = len(_FOR_GOOD) if habits.has_two_states else min(self.jumps, len(_FOR_GOOD))
        return 1 - _FOR_GOOD[jumps - 1]

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of the mean over a long time, taken as midway."""
        return float(np.hypot(self.sd, _UNEVEN * self.half))

    @property
    def readings(self) -> Floats:
        """What it adds to each reading, shape (n,)."""
        added: Floats = self.half * self.course
        return added


@dataclass(frozen=True)
class Steadied:
    """Readings without their `swing`, and the fit of what is left."""

    problem: Problem
    fit: TransientFit
    swing: Swing


def arrival(problem: Problem, fit: TransientFit) -> Arrival:
    """How the output came to the level of `fit`, in which early departures count less.

    The fit takes up a part of a jump, so that `off` is less than the distance of both states.
    """
    age_s, left = problem.record.age_s, fit.residuals
    risen = fit.columns[:, Coefficient.LEVEL]
    early = np.flatnonzero(problem.keep & (risen > _UP) & (problem.excess > 0))
    if not early.size:
        return Arrival()
    off = np.abs(left[early] - mean(left[2 * age_s.size // 3 :]))
    came_s = float(age_s[early[-1]])
    just_before = age_s[early] > came_s - _JUST_BEFORE_S - problem.record.averaged_s
    jump, most = float(off[just_before].max()), float(off.max())
    last_off_s = age_s[early][just_before & (off > _AT_ONCE * jump)][-1]
    stood = last_off_s - age_s[risen > _UP][0] > _STOOD_S - _ROUNDING_S
    return Arrival(jump, came_s) if jump > _AT_ONCE * most and stood else Arrival()


def steadied(problem: Problem, fit: TransientFit) -> Steadied | None:
    """The readings without the swing that they show; None where `fit`, the plain one, will do."""
    record, steady = problem.record, None
    taken = np.zeros_like(record.relative)
    for _ in range(_FITS):
        swing = _swing_in(problem, fit, taken)
        if swing is None:
            return None
        taken = swing.readings
        calm = replace(problem, record=replace(record, relative=record.relative - taken))
        calm, fit = best_fit(calm, fit.state)
        steady = Steadied(*without_early_departures(calm, fit), swing)
    return steady


def _swing_in(problem: Problem, fit: TransientFit, taken: Floats) -> Swing | None:
    """The swing that the readings show beside what `fit` explains; None where they show none.

    `fit`: of the readings from which `taken`, (n,), has been taken as a swing.
    """
    residuals, risen = fit.residuals + taken, fit.columns[:, Coefficient.LEVEL]
    up = problem.keep & (risen > _UP)
    if np.count_nonzero(up) < _FEWEST:
        return None
    high = _high(residuals[up], _RISE * (1 - risen[up]), problem.floor**0.5)
    if high is None:
        return None
    record, changes = problem.record, np.flatnonzero(high[1:] != high[:-1])
    age_s = record.age_s[up]
    switch_s = 0.5 * (age_s[changes] + age_s[changes + 1] - record.averaged_s)
    course = risen * _course(record.age_s, switch_s, record.averaged_s, begins_high=bool(high[0]))
    columns = fit.columns.copy()
    columns[:, -1] += taken
    swing, better, left = _sized(problem, fit, columns, course, changes.size)
    believed = better > _BETTER + changes.size * np.log(age_s.size)
    return swing if believed and _is_distinct(abs(swing.half), left[up], risen[up]) else None


def _is_distinct(half: float, left: Floats, risen: Floats) -> bool:
    """Whether `half` a swing is far more than readings are off both states, but for their noise.

    `left`, (n,): by how much they are; `risen`, (n,): what the output had risen to by then.
    """
    noise = min(median(np.abs(left[1:] - left[:-1])) / _MEDIAN_STEP, _MOST_NOISE * half)
    off2 = float(np.average(left**2, weights=_weight(risen)))
    return off2 < (half / _DISTINCT) ** 2 + noise**2


def _high(residuals: Floats, rise: Floats, least_noise: float) -> Flags | None:
    """Which of the readings, (n,), are in the higher of two states; None where all are in one.

    `rise`, (n,): by how much each may be off because the output is still rising.
    """
    noise = max(least_noise, median(np.abs(residuals[1:] - residuals[:-1])))
    sd = np.hypot(noise, rise)
    ordered = np.sort(residuals)
    low, top = quantile(ordered, 0.15), quantile(ordered, 0.85)
    high: Flags | None = None
    for _ in range(_ROUNDS):
        if top - low < 2 * _LEAST_SDS * noise:
            return None
        high = _most_likely_states((residuals - low) / sd, (residuals - top) / sd)
        if np.all(high) or not np.any(high):
            return None
        low = np.average(residuals[~high], weights=sd[~high] ** -2)
        top = np.average(residuals[high], weights=sd[high] ** -2)
    return high


def _most_likely_states(from_low: Floats, from_top: Floats) -> Flags:
    """The most likely sequence of two states (Viterbi), shape (n,), True for the higher.

    `from_low`, `from_top`, (n,): distances of the readings from both, in standard deviations.
    """
    switch = log(from_low.size) + _BETTER / 2
    costs = 0.5 * np.stack([from_low**2, from_top**2], axis=1)
    low, top = costs[0].tolist()  # of the best way to each state; plain numbers, for they are two
    came_from = []
    for cost_low, cost_top in costs[1:].tolist():
        fell, rose = top + switch < low, low + switch < top
        came_from.append((fell, not rose))
        low, top = (top + switch if fell else low), (low + switch if rose else top)
        low, top = low + cost_low, top + cost_top
    states = [top < low]
    for ways in reversed(came_from):
        states.append(ways[states[-1]])
    return np.array(states[::-1])


def _course(age_s: Floats, switch_s: Floats, window_s: float, *, begins_high: bool) -> Floats:
    """Mean over the window before each age of a state that is 1 or -1 and switches."""
    after = np.clip((age_s[:, None] - switch_s) / max(window_s, 1e-3), 0.0, 1.0)
    signs = 2.0 * (-1.0) ** np.arange(switch_s.size)
    course: Floats = (1.0 if begins_high else -1.0) * (1 - after @ signs)
    return course


def _weight(risen: Floats) -> Floats:
    """How much each reading counts, (n,), by what the output has risen to."""
    weight: Floats = 1 / (1 + (_RISE * (1 - risen) / _NOISE) ** 2)
    return weight


def _sized(
    problem: Problem, fit: TransientFit, columns: Floats, course: Floats, jumps: int
) -> tuple[Swing, float, Floats]:
    """The swing, how much the log evidence gains by it, and what it leaves of the readings, (n,).

    `columns`, (n, 9): as of `fit`, with the readings as they came.
    """
    variance, with_swing = fit.state.variance, np.column_stack([course, columns])
    eight = problem.coefficients_prior(variance, fit.state.droop)
    without = decomposed_by_correlation(
        problem, problem.weighted(columns, fit.linearised_at), eight
    )
    weighted = problem.weighted(with_swing, fit.linearised_at)
    found = decomposed_by_correlation(problem, weighted, _with_size(eight, variance))
    posterior = found.posterior(COUNT + 1, found.log_evidence == np.max(found.log_evidence))
    half, *_ = mean = posterior.mean[0]
    sd = float(np.sqrt(posterior.scale2[0] * posterior.covariance[0, 0, 0]))
    better = float(np.max(found.log_evidence) - np.max(without.log_evidence))
    left = with_swing[:, -1] - with_swing[:, :-1] @ mean
    return Swing(course, float(half), sd, jumps), better, left


def _with_size(eight: Prior, variance: float) -> Prior:
    """`eight` and, before them, the independent prior of half the swing."""
    precision = variance / _SIZE_SD**2
    normal = np.zeros((COUNT + 2, COUNT + 2))
    normal[0, 0], normal[1:, 1:] = precision, eight.normal
    return Prior(normal, eight.log_determinant + np.log(precision))
