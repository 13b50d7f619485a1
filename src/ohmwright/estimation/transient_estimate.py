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

from .activation_record import ActivationRecord, FitStart
from .ar1_regression import covariances, mean, moments
from .coefficients import COUNT, DROOP_TAU_S, DYNAMIC, TRIM, Coefficient
from .departures import COURSE_COUNT, course_slopes
from .habits import Habits
from .mixture import Members, Mixture, members_with_departures, plain_members, square_sums
from .prior import NoisePrior, TransientPrior
from .swinging_rise import left_to_swing
from .transient_fit import TransientFit, best_fit, without_early_departures
from .transient_problem import Problem, delay_s, explicable
from .two_states import Arrival, arrival, steadied

Floats = NDArray[np.float64]

_ALONE = np.eye(COUNT)
"""Combinations, (8,) each, that are one coefficient."""
_RISEN_SHARE = 0.98
"""Part of the level above which a reading shows what the output does beside rising."""
_FEWEST = 4
"""Least number of readings for an estimate."""
_RISEN = 0.05
"""Least mean of the last two readings, relative to the target, that is an output."""
_MOST_SPIKES = 0.12
"""Largest share of spikes with which the other readings are believed."""
_SWINGS_LAGS = 4.0
"""So many lags after the dead time a rise that swings does so by less than 2 % of its level."""
_UNSEEN = 0.08
"""Standard uncertainty of the extrapolated lag, relative to the lag still to come."""


@dataclass(frozen=True)
class TransientEstimate:
    """Posterior of the coefficients: a mixture of m Student t distributions with `dof` each.

    `weight` (m,) and `mean` (m, 8) of the parts; `spread` (m, 8, 8), lower triangular, whose
    transpose times itself is their covariance, but for what the level is unsure of besides.
    """

    weight: Floats
    mean: Floats
    spread: Floats
    besides: Floats
    """Variance of the level of each part, since the unit swings, shape (m,)."""
    dof: float
    floor: float
    """Variance that the meter's resolution leaves to any output, relative to the target."""
    habits: Habits
    """How the unit departs from a plain rise with droop, by these readings."""
    remainder: float
    """Lag still to come after the last reading, relative to the target, two deviations included."""
    droop_uncertainty: float
    """Standard uncertainty of the level, since droop may begin and show before or after the lag."""
    autocorrelation: float
    """Of the noise of neighbouring readings."""
    spike_share: float
    """Part of the readings that was left out, since the meter jumped there and back."""
    arrival: Arrival
    """How the output came to its level, once it had risen."""
    start: FitStart
    shows_both_states: bool = False
    """Whether the readings show an output that swings between two states in both of them."""

    @property
    def lag_s(self) -> float:
        """First time constant at the most probable dynamics, s."""
        log_lag, _, _ = self.start.dynamics
        return float(np.exp(log_lag))

    @property
    def dead_time_s(self) -> float:
        """Dead time at the most probable dynamics, s."""
        _, log_dead_time, _ = self.start.dynamics
        return float(np.exp(log_dead_time))

    @property
    def delay_s(self) -> float:
        """Dead time and both lags together at the most probable dynamics, s."""
        return float(delay_s(self.start.dynamics))

    @property
    def swings_until_s(self) -> float:
        """Age from which a rise that swings does so by hardly more, s; 0 for one that does not."""
        return self.dead_time_s + _SWINGS_LAGS * self.lag_s if self.start.swings else 0.0

    def combination(self, factors: Floats) -> Mixture:
        """Distribution of a linear combination with `factors`, shape (8,).

        Relative to the target; an output (with a factor of the level) has the resolution's floor.
        """
        floor = self.floor if factors[Coefficient.LEVEL] != 0 else 0.0
        variance = square_sums(self.spread, factors) + floor
        variance += self.besides * factors[Coefficient.LEVEL] ** 2
        return Mixture(self.weight, self.mean @ factors, np.sqrt(variance), self.dof)

    @property
    def jumps(self) -> bool:
        """Whether too many readings are spikes for the others to be believed."""
        return self.spike_share > _MOST_SPIKES

    @property
    def scatter(self) -> float:
        """Standard deviation of the level by the readings' noise alone, all else being known.

        Relative to the target; departures are integrated out. The level is the first coefficient,
        and the first row of a triangular spread is what the others leave of it.
        """
        alone = self.spread[:, Coefficient.LEVEL, Coefficient.LEVEL] ** 2 + self.besides
        return float(np.sqrt(np.vdot(self.weight, alone)))

    @property
    def extrapolation(self) -> float:
        """Standard uncertainty of the level by what has not been seen, relative to the target."""
        return float(np.hypot(_UNSEEN * self.remainder, self.droop_uncertainty))

    def level(self, also: float) -> Mixture:
        """Distribution of the level, extrapolation included, and an uncertainty `also` besides."""
        unseen = float(np.hypot(self.extrapolation, also))
        return self.coefficient(Coefficient.LEVEL).widened(1.0, unseen)

    def swinging(self, half: float, uncertainty: float) -> TransientEstimate:
        """This, of a unit that swings by `half` to both sides; its level is as unsure besides."""
        besides, habits = self.besides + uncertainty**2, self.habits.between_states(half)
        return replace(self, besides=besides, habits=habits, shows_both_states=True)

    def or_else(self, other: TransientEstimate, share: float) -> TransientEstimate:
        """A mixture of this and, with the weight `share`, another."""
        likely = other if share > 0.5 else self
        hunting = (1 - share) * self.habits.hunting + share * other.habits.hunting
        return replace(
            likely,
            weight=np.concatenate([(1 - share) * self.weight, share * other.weight]),
            mean=np.concatenate([self.mean, other.mean]),
            spread=np.concatenate([self.spread, other.spread]),
            besides=np.concatenate([self.besides, other.besides]),
            dof=min(self.dof, other.dof),
            habits=replace(likely.habits, hunting=hunting),
            remainder=(1 - share) * self.remainder + share * other.remainder,
        )

    def coefficient(self, coefficient: Coefficient) -> Mixture:
        """Distribution of one coefficient."""
        return self.combination(_ALONE[coefficient])

    @property
    def covariance(self) -> Floats:
        """Covariances of the parts, shape (m, 8, 8)."""
        covariance = covariances(self.spread)
        covariance[:, Coefficient.LEVEL, Coefficient.LEVEL] += self.besides
        return covariance

    def as_prior(self) -> TransientPrior:
        """One Gaussian with the mean and covariance of the mixture."""
        mean = self.weight @ self.mean
        apart = self.mean - mean
        spread = np.einsum("m,mi,mj->ij", self.weight, apart, apart)
        covariance = np.einsum("m,mij->ij", self.weight, self.covariance) + spread
        return TransientPrior(mean, covariance)


def fit_transient(
    record: ActivationRecord,
    prior: TransientPrior,
    noise: NoisePrior,
    start: FitStart | None,
    *,
    departures: bool = False,
) -> TransientEstimate | None:
    """Posterior from the readings so far; None while the output has not begun to rise.

    `start`: where the last fit ended; `departures`: whether to allow for them. Where the equations
    become singular, the fit is tried once more from a first guess, then None is returned.
    """
    if record.age_s.size < _FEWEST or mean(record.relative[-2:]) < _RISEN:
        return None
    record = explicable(record)
    if record.age_s.size < _FEWEST:
        return None
    for begin in (None,) if start is None else (start, None):
        with suppress(np.linalg.LinAlgError):
            problem = Problem.of(record, prior, noise, departures)
            fit = _estimate(problem, begin)
            if np.isfinite(fit.start.dynamics).all():
                return fit
    return None


def _estimate(problem: Problem, begin: FitStart | None) -> TransientEstimate:
    """Posterior in which the output may swing between two states, where the readings show them."""
    problem, fit = best_fit(problem, begin)
    calm_problem, calm_fit = without_early_departures(problem, fit)
    estimate = _posterior(calm_problem, calm_fit)
    if not problem.departures:
        return estimate
    steady = steadied(problem, fit)
    if steady is None and calm_fit is not fit:  # a jump can have bent the fit until it is hidden
        steady = steadied(problem, calm_fit)
    if steady is None:
        return estimate
    swing = steady.swing
    swinging = _posterior(steady.problem, steady.fit).swinging(swing.half, swing.uncertainty)
    return estimate.or_else(swinging, swing.share(problem.noise.habits))


def _posterior(problem: Problem, fit: TransientFit) -> TransientEstimate:
    """Posterior around `fit`, averaged over correlations of the noise and explanations."""
    state, columns = fit.state, fit.columns
    members = (
        _with_departures(problem, fit) if problem.departures else plain_members(fit.by_correlation)
    )
    spread = members.spread[:, -COUNT:, -COUNT:]
    to_come = (problem.record.steps.last_position - columns[-1, TRIM]) @ state.linear[TRIM]
    slope = columns[-1, DYNAMIC]
    unsure = members.weight @ square_sums(spread[..., DYNAMIC], slope)
    return TransientEstimate(
        weight=members.weight,
        mean=members.mean[:, -COUNT:],
        spread=spread,
        besides=np.zeros(members.weight.size),
        dof=members.dof,
        floor=problem.floor,
        habits=Habits(
            hunting=members.hunting,
            other_shape=members.other_shape,
            swing=_swing(problem, fit),
            move_delay=state.move_delay,
        ),
        remainder=float(max(abs(to_come), _left_to_swing(problem, state)) + 2 * np.sqrt(unsure)),
        droop_uncertainty=_droop_uncertainty(problem, members, state),
        autocorrelation=members.correlation,
        spike_share=1 - np.count_nonzero(problem.keep) / problem.keep.size,
        arrival=arrival(problem, fit),
        start=state,
    )


def _left_to_swing(problem: Problem, state: FitStart) -> float:
    """By how much a rise that swings may still leave its level, relative to the target."""
    if not state.swings:
        return 0.0
    lag_s, dead_time_s, sharpness = np.exp(state.dynamics).tolist()
    since_s = float(problem.record.age_s[-1]) - dead_time_s
    level = abs(float(state.linear[Coefficient.LEVEL]))
    return level * left_to_swing(since_s, lag_s, sharpness)


def _with_departures(problem: Problem, fit: TransientFit) -> Members:
    """Members with departures about `fit`; the last coefficients are the eight."""
    columns = problem.with_departures(fit.columns, fit.linearised_at)
    sums = moments(problem.weighted(columns, fit.linearised_at), problem.keep)
    variance, habits = fit.state.variance, problem.noise.habits
    prior = problem.coefficients_prior(variance, fit.state.droop)
    return members_with_departures(sums, prior, problem.noise_prior(), variance, habits)


def _swing(problem: Problem, fit: TransientFit) -> float:
    """Standard deviation of the risen readings about the plain fit, relative to the target.

    Early readings that leave the model are not counted: the end of a rise is no swing.
    """
    is_up = fit.columns[:, Coefficient.LEVEL] > _RISEN_SHARE
    left = fit.residuals[problem.keep & is_up & (problem.excess == 0)]
    if not left.size:
        return 0.0
    apart = left - mean(left)
    return sqrt(float(apart @ apart) / left.size)


def _droop_uncertainty(problem: Problem, members: Members, state: FitStart) -> float:
    """Standard uncertainty of the level from whether droop acts before or after dead time and lag.

    Warming may begin with ON or with the output, and droop act before the lag or after it: each
    shifts the age at which readings show the droop by nothing or by the delay, one as likely as the
    other; a standard deviation of half the delay each. Taken as uniform between, U held 0.64 of the
    values where it is 0.90 (`scripts/bench/worlds`, droop 5 %, stated).
    """
    at_s, heat = problem.record.at_age_s, problem.record.heat
    per_s = np.zeros(members.mean.shape[1])
    per_s[-COUNT + Coefficient.DROOP] = -(1 - heat) * exp(-at_s / DROOP_TAU_S) / DROOP_TAU_S
    if problem.departures:
        per_s[:COURSE_COUNT] = course_slopes(at_s)
    square = (members.mean @ per_s) ** 2 + square_sums(members.spread, per_s)
    return sqrt(float(members.weight @ square) / 2) * float(delay_s(state.dynamics))
