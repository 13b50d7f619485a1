"""The readings of an activation as a regression: columns, weights and what is known before."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import exp

import numpy as np
from numpy.typing import NDArray

from .activation_record import AVERAGES, ActivationRecord, Average, FitStart
from .ar1_regression import Flags, Noise, Prior, median
from .coefficients import (
    COUNT,
    DROOP_TAU_S,
    DYNAMIC,
    LINEAR_COUNT,
    TRIM,
    Coefficient,
    Steps,
    driven,
    driven_with_slopes,
    droop_shape,
    window_mean_response,
)
from .departures import departure_columns
from .followed_moves import window_by_moves_s
from .prior import VAGUE_POLE_RATIO, NoisePrior, TransientPrior, vague_prior
from .rms_rise import rms_rise, rms_rise_with_slopes
from .swinging_rise import pole_s

Floats = NDArray[np.float64]

_SHAPE = 0.01
"""Standard deviation by which a rise leaves the model, relative to what is left to rise."""
QUICKEST = (0.05, 0.02, 0.005)
"""Least lag s, dead time s and ratio of the poles that a rise may have."""
_LATEST = (6.0, 10.0)
"""Largest lag s and dead time s."""
_LIMITS: Floats = np.log(np.array([QUICKEST, (*_LATEST, 0.97)]))
"""Least and largest logarithms of lag s, dead time s and ratio of the poles."""
_SWINGING_LIMITS: Floats = np.log(np.array([(*QUICKEST[:2], 1.05), (*_LATEST, 6.0)]))
"""Those of a rise that swings, with its sharpness: from hardly any overshoot on."""
_TOO_SOON = 0.02
"""How far above the quickest rise a reading comes too soon, relative to the level."""
_DATING = 0.5
"""What the age of a reading may be off by, over the time from one to the next."""
_SHORTER_WINDOWS = (0.6, 0.35, 0.2, 0.1)
"""Windows that are tried where the stated one is too long, over that."""
_RISEN_LAGS = 4.0
"""So many lags after its dead time the quickest rise is within 2 % of its level."""
_FEWEST = 4
"""Readings from which on a rise says something of the window."""
_SWINGING = float(np.log(2.0)), 0.4
"""Mean and standard deviation of the logarithm of the sharpness of a rise that swings."""
EIGHT = slice(-COUNT - 1, -1)
"""Columns of the eight coefficients; the readings come after them, departures before."""


@dataclass(frozen=True)
class Problem:
    """The readings, shape (n,), and what is known before them.

    `keep` (n,): readings that count; `departures`: whether departures from the model are allowed
    for.
    """

    record: ActivationRecord
    prior: TransientPrior
    noise: NoisePrior
    keep: Flags
    departures: bool
    excess: Floats
    """Variance of each reading beyond noise, for early readings that leave the model."""

    @classmethod
    def of(
        cls, record: ActivationRecord, prior: TransientPrior, noise: NoisePrior, departures: bool
    ) -> Problem:
        """The problem of a record, in which all readings count."""
        keep = np.ones(record.age_s.size, dtype=np.bool_)
        excess = np.zeros(record.age_s.size)
        return cls(record, prior, noise, keep, departures, excess)

    @property
    def swings(self) -> bool:
        """Whether its prior is one of rises that swing."""
        return bool(self.prior.mean[Coefficient.LOG_POLE_RATIO] > 0)

    @property
    def of_the_other_rise(self) -> Problem:
        """The problem of a rise that swings, if this is one of two lags, or the reverse."""
        usual = VAGUE_POLE_RATIO if self.swings else _SWINGING
        prior = self.prior.with_coefficient(Coefficient.LOG_POLE_RATIO, *usual)
        return replace(self, prior=prior)

    def averaged_by(self, averaging: Average) -> Problem:
        """The problem of a meter that averages so."""
        return replace(self, record=replace(self.record, averaging=averaging))

    def as_in(self, start: FitStart) -> Problem:
        """The problem of the rise and the averaging by which a fit ended at `start`."""
        problem = self if start.swings == self.swings else self.of_the_other_rise
        same = start.averaging == self.record.averaging
        return problem if same else problem.averaged_by(start.averaging)

    @property
    def alternatives(self) -> Iterator[Problem]:
        """The same readings, to be explained by the other rise, or by another averaging."""
        yield self.of_the_other_rise
        yield from (self.averaged_by(a) for a in AVERAGES if a != self.record.averaging)

    @property
    def _of_squares(self) -> bool:
        """Whether readings are roots of mean squares; of a rise that swings means serve as well."""
        return self.record.averaging == "squares" and not self.swings

    @property
    def floor(self) -> float:
        """Variance that the meter's resolution causes, relative to the target."""
        return self.record.resolution**2 / 12 + 1e-10

    def noise_prior(self) -> Noise:
        """Prior of the noise, the meter's resolution included."""
        return Noise(self.noise.sd**2 + self.floor, self.noise.dof)

    def linear_columns(self, dynamics: Floats, move_delay: Floats | float) -> Floats:
        """Readings per unit of each linear coefficient, shape (b, n, 5).

        `dynamics` (b, 3) and `move_delay` (b,): of each case, or one for all.
        """
        record, times = self.record, np.exp(dynamics)
        rise = rms_rise(record.age_s, record.averaged_s, times) if self._of_squares else None
        responses = driven(record.age_s, record.averaged_s, times, record.steps, move_delay, rise)
        columns = np.empty((*responses.shape[:2], LINEAR_COUNT))
        columns[..., TRIM] = responses
        warm_s = record.age_s - delay_s(dynamics)[:, None]
        droop = droop_shape(warm_s, record.at_age_s, record.averaged_s, record.heat)
        columns[..., Coefficient.DROOP] = -responses[..., Coefficient.LEVEL] * droop
        return columns

    def coefficients_prior(self, variance: float, droop: float, p: int = COUNT) -> Prior:
        """Prior of the first p coefficients where the noise has this `variance`, near a `droop`."""
        mean, normal = self.prior.mean[:p], np.zeros((p + 1, p + 1))
        precision = variance * precision_near(self.prior, droop)[:p, :p]
        normal[:p, :p] = precision
        normal[:p, p] = normal[p, :p] = weighted = precision @ mean
        normal[p, p] = mean @ weighted
        return Prior(normal, 0.0)

    def columns(self, state: FitStart) -> Floats:
        """The eight coefficients' columns, and the readings, shape (n, 9).

        The linearised ones are for the logarithms of the dynamics themselves, not for their change,
        so what the present dynamics contribute is added to the readings.
        """
        record, times = self.record, np.exp(state.dynamics)
        seen = record.age_s, record.averaged_s, times
        rise = rms_rise_with_slopes(*seen) if self._of_squares else None
        trim, trim_slopes = driven_with_slopes(*seen, record.steps, state.move_delay, rise)
        risen, risen_slopes = trim[:, Coefficient.LEVEL], trim_slopes[..., Coefficient.LEVEL]
        droop, droop_slopes = self._droop(times)
        slopes = trim_slopes @ state.linear[TRIM]
        slopes -= state.linear[Coefficient.DROOP] * (risen_slopes * droop + risen * droop_slopes)
        columns = np.empty((record.age_s.size, COUNT + 1))
        columns[:, TRIM] = trim
        columns[:, Coefficient.DROOP] = -risen * droop
        columns[:, DYNAMIC] = slopes.T
        columns[:, COUNT] = record.relative + state.dynamics @ slopes
        return columns

    def _droop(self, times: Floats) -> tuple[Floats, Floats]:
        """Shape of the droop, (n,), and its slopes by the dynamics, shape (3, n).

        `times` (3,): lag s, dead time s and ratio of the poles.
        """
        record, (lag_s, dead_time_s, pole_ratio) = self.record, times.tolist()
        lags_s = float(_both_lags_s(lag_s, pole_ratio))
        by_ratio_s = -2 * lags_s if pole_ratio > 1 else lag_s * pole_ratio
        warm_s = record.age_s - (dead_time_s + lags_s)
        shape = droop_shape(warm_s, record.at_age_s, record.averaged_s, record.heat)
        per_s = (shape - exp(-record.at_age_s / DROOP_TAU_S)) / DROOP_TAU_S
        delays_s = np.array([[lags_s], [dead_time_s], [by_ratio_s]])
        return shape, delays_s * per_s

    def with_departures(self, columns: Floats, state: FitStart) -> Floats:
        """Columns of the departures, then the `columns` that were taken about `state`."""
        record = self.record
        lag_s, dead_time_s, pole_ratio = np.exp(state.dynamics).tolist()
        departures = departure_columns(
            record.age_s,
            columns[:, Coefficient.LEVEL],
            dead_time_s=dead_time_s,
            pole_s=pole_s(lag_s, pole_ratio) if state.swings else None,
            warm_s=record.age_s - 0.5 * record.averaged_s - delay_s(state.dynamics),
            at_age_s=record.at_age_s,
        )
        return np.concatenate([departures, columns], 1)

    def weighted(self, columns: Floats, state: FitStart) -> Floats:
        """Columns and readings over the standard deviation of each reading, relative to the noise.

        Besides noise a reading may leave the model by part of what is left to rise.
        """
        to_rise = 1 - columns[:, EIGHT][:, Coefficient.LEVEL]
        beyond = (_SHAPE * to_rise) ** 2 + self.excess
        sd: Floats = np.sqrt(1 + beyond / state.variance)
        return columns / sd[:, None]


def precision_near(prior: TransientPrior, droop: float) -> Floats:
    """Inverse covariance, (8, 8), of the Gaussian prior that acts as `prior` at that `droop`."""
    if not prior.droop_is_usual:
        return prior.precision
    precision, at = prior.precision.copy(), Coefficient.DROOP
    # as in an EM step for a Cauchy distribution; a loss below zero is no droop at all
    beyond = max(0.0, droop - float(prior.mean[at]))
    precision[at, at] = 2 / (prior.covariance[at, at] + beyond**2)
    return precision


def explicable(record: ActivationRecord) -> ActivationRecord:
    """`record` with a window that explains its first readings, and without those that none does.

    A reading above the quickest rise, or one that follows a move too soon, shows that the meter's
    window is shorter than stated: the longest that explains all readings is taken. What even the
    shortest does not explain came later than it seems, and is left out: taken for noise, it would
    hide what moves do.
    """
    if record.steps.at_s.size > 1:  # the trim was moved
        record = replace(record, window_s=window_by_moves_s(record))
    shorter, first = record, _first_explicable(record)
    for share in _SHORTER_WINDOWS:
        if first == 0:
            return shorter
        shorter = replace(record, window_s=share * record.window_s)
        first = _first_explicable(shorter)
    return replace(shorter, age_s=record.age_s[first:], relative=record.relative[first:])


def window_explained_s(age_s: Floats, value: Floats, window_s: float) -> float | None:
    """The longest window, in s and at most `window_s`, that explains a rested activation's rise.

    `age_s`, `value`: shape (n,). None where they are too few, or no window explains them.
    """
    if age_s.size < _FEWEST:
        return None
    rise = ActivationRecord(
        age_s=age_s,
        relative=value,
        steps=Steps.switching_on(),
        window_s=window_s,
        resolution=0.0,
        at_age_s=float(age_s[-1]),
        heat=0.0,
    )
    explained = explicable(rise)
    return explained.window_s if explained.age_s.size == age_s.size else None


def _first_explicable(record: ActivationRecord) -> int:
    """Index of the reading from which on none lies above the quickest rise.

    That rise goes to the median of the readings after the first and before the first move.
    """
    lag_s, dead_time_s, _ = QUICKEST
    age_s = record.age_s + _DATING * (record.age_s[1] - record.age_s[0])
    rising = int(age_s.searchsorted(record.window_s + dead_time_s + _RISEN_LAGS * lag_s))
    moves_s = record.steps.at_s[1:2]
    unmoved = int(record.age_s.searchsorted(moves_s[0])) if moves_s.size else record.age_s.size
    if rising == 0 or unmoved < 2:
        return 0
    level = median(record.relative[1:unmoved])
    if level > 0 and (record.relative[:rising] <= _TOO_SOON * level).all():  # below any rise
        return 0
    quickest = _quickest_rise(tuple(age_s[:rising].tolist()), record.window_s)
    above = record.relative[:rising] > (quickest + _TOO_SOON) * level
    is_rising = quickest < 1 - _TOO_SOON  # later, noise may lie above it
    too_soon = np.flatnonzero(above & is_rising)
    return int(too_soon[-1]) + 1 if too_soon.size else 0


@lru_cache(maxsize=64)
def _quickest_rise(age_s: tuple[float, ...], window_s: float) -> Floats:
    """The quickest rise, (n,), at the ages of first readings: the same at each look at them."""
    lag_s, dead_time_s, pole_ratio = QUICKEST
    return window_mean_response(
        np.array(age_s), window_s, lag_s=lag_s, dead_time_s=dead_time_s, pole_ratio=pole_ratio
    )


def linearised(record: ActivationRecord, start: FitStart) -> Floats:
    """Readings per unit of each coefficient about the dynamics of `start`, shape (n, 9).

    The last column is the readings, shifted so that they are the others times the coefficients
    themselves, logarithms of the dynamics included.
    """
    return Problem.of(record, vague_prior(), NoisePrior(), departures=False).columns(start)


def dynamics_limits(dynamics: Floats) -> Floats:
    """Least and largest dynamics of a fit whose present ones are `dynamics`, shape (2, 3)."""
    return _SWINGING_LIMITS if dynamics[-1] > 0 else _LIMITS


def delay_s(dynamics: Floats) -> Floats:
    """Dead time and both lags together, s, shape () or (b,), of dynamics (3,) or (b, 3)."""
    lag_s, dead_time_s, pole_ratio = np.exp(dynamics).T
    delays_s: Floats = dead_time_s + _both_lags_s(lag_s, pole_ratio)
    return delays_s


def _both_lags_s(lag_s: Floats | float, pole_ratio: Floats | float) -> Floats:
    """Sum of both time constants, also of complex ones."""
    lags_s: Floats = lag_s * np.where(pole_ratio > 1, 2 / pole_ratio**2, 1 + pole_ratio)
    return lags_s
