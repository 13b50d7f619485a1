"""How an output may depart from a plain rise with droop, as alternative explanations.

Each kind of departure is a few columns of a regression, relative to the risen output:

- another shape of the rise (slow creep after a quick part, damped swings), which dies away;
- wander (hunting of any shape, 1/f noise), which goes on: sines and cosines of several periods;
- another time course of the droop, and a steady drift; both are 0 at the age asked for.

An explanation is a prior of these coefficients: how large those of each kind may be, and which of
the other shapes it has. Coefficients are relative to the level of the output.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby, product
from math import exp
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .habits import Habits

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.int_]

_CREEP_S = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6)
"""Time constants of a slow creep; any in between differs from the nearest by less than 1 % of the
amplitude."""
_SWING_S = ((0.9, 3.0), (2.0, 6.0))
"""Time constant and period of damped swings."""
_WANDER_PERIODS_S = (3.0, 4.5, 6.75, 10.1, 15.2, 22.8)
"""Periods of wander, each 1.5 times the last: equal amplitudes are about 1/f noise; hunting with
one period lies between two of them."""
_DROOP_S = (4.0, 16.0)
"""Time constants of droop that is quicker, and slower, than usual."""
_DRIFT_S = 20.0
"""Time over which the coefficient of the drift is the change of the output."""
_COURSE = (0.006, 0.006, 0.003)
"""Standard deviations of the coefficients of quicker droop, of slower droop, and of the drift."""
_COURSES = ((1.0, 0.4), (0.25, 0.6))
"""Factor of `_COURSE` and share: of outputs with another time course of the droop, and of the
rest."""
_CREEP, _SWING = 0.2, 0.4
"""Standard deviations of the coefficient of a creep, which may be a third of the output, and of
each of a damped swing: a lightly damped rise begins with one as large as the level."""
_CREEPS_SHARE = 0.6
"""Share of the outputs of another shape that creep; the others swing."""
_QUIET = ((0.0003, 0.7), (0.0012, 0.3))
"""Standard deviations of the coefficients of wander of outputs that do not hunt; each with its
share."""
_HUNTING = ((0.004, 0.2), (0.013, 0.2))
"""Standard deviations of the coefficients of wander of outputs that hunt with all periods alike;
each with its share of those that hunt."""
_TONE, _TONE_SHARE = 0.006, 0.6
"""Standard deviation of the coefficients of wander at the period of outputs that hunt with one, and
their share of those that hunt; at other periods they are as those that do not hunt."""

# arrays of the above, for they are wanted at every refit
_WANDER_RATES: Floats = 2 * np.pi / np.array(_WANDER_PERIODS_S)
_MINUS_CREEP_S: Floats = -np.array(_CREEP_S)
_SWING_TAU_S, _swing_period_s = np.array(_SWING_S).T
_SWING_RATES: Floats = 2 * np.pi / _swing_period_s
_DROOP_TAU_S: Floats = np.array(_DROOP_S)

_SHAPE_SD = [_CREEP] * len(_CREEP_S) + [_SWING] * 2 * len(_SWING_S)
_OTHER_COUNT = len(_SHAPE_SD)
WANDER_COUNT = 2 * len(_WANDER_PERIODS_S)
COURSE_COUNT = len(_COURSE)
DEPARTURE_COUNT = _OTHER_COUNT + WANDER_COUNT + COURSE_COUNT


def departure_columns(
    age_s: Floats,
    risen: Floats,
    *,
    dead_time_s: float,
    pole_s: complex | None,
    warm_s: Floats,
    at_age_s: float,
) -> Floats:
    """Readings per unit of each departure, (n, DEPARTURE_COUNT): wander, shapes, droop.

    `age_s` (n,): ages of the readings; `risen` (n,): what has risen by then, relative to the level;
    `pole_s`: of the rise, where it swings; `warm_s` (n,): how long the output stage has been
    warming.
    """
    since_s = np.maximum(age_s - dead_time_s, 0.0)[:, None]
    swings = _usual_swings(since_s) if pole_s is None else _own_swings(since_s, pole_s)
    warm_s, creeps = warm_s[:, None], np.exp(since_s / _MINUS_CREEP_S)
    parts = [*_wander(age_s[:, None]), creeps, *swings, *_course(warm_s, at_age_s)]
    return np.concatenate(parts, axis=1) * risen[:, None]


def course_slopes(at_age_s: float) -> Floats:
    """Change of the output per second at the age asked for, per unit of each course's column."""
    return np.array([*(-exp(-at_age_s / tau_s) / tau_s for tau_s in _DROOP_S), 1 / _DRIFT_S])


def _wander(age_s: Floats) -> Iterator[Floats]:
    angle = age_s * _WANDER_RATES
    yield np.sin(angle)
    yield np.cos(angle)


def _usual_swings(since_s: Floats) -> Iterator[Floats]:
    decay, angle = np.exp(-since_s / _SWING_TAU_S), _SWING_RATES * since_s
    yield decay * np.sin(angle)
    yield decay * np.cos(angle)


def _own_swings(since_s: Floats, pole_s: complex) -> Iterator[Floats]:
    """As the rise swings, by other amounts; and what another pole near that one would change."""
    own = np.exp(-since_s / pole_s.conjugate())
    both = np.concatenate([own, own * since_s / abs(pole_s)], axis=1)
    yield both.imag
    yield both.real


def _course(warm_s: Floats, at_age_s: float) -> Iterator[Floats]:
    yield np.exp(-warm_s / _DROOP_TAU_S) - np.exp(-at_age_s / _DROOP_TAU_S)
    yield (warm_s - at_age_s) / _DRIFT_S


class _Case(NamedTuple):
    """One explanation: sd of each coefficient, and its share of the outputs of its kind."""

    wander: tuple[float, ...]
    shapes: tuple[int, ...]
    """Columns of the other shapes that it has, all with one sd."""
    course: float
    """Factor of `_COURSE`."""
    share: float
    hunts: bool


def _cases() -> Iterator[_Case]:
    """The usual rise with each wander and droop, or tone; each other shape with each wander."""
    alike = [((sd,) * WANDER_COUNT, share, False) for sd, share in _QUIET]
    alike += [((sd,) * WANDER_COUNT, share, True) for sd, share in _HUNTING]
    for (wander, share, hunts), (part, likely) in product(alike, _COURSES):
        yield _Case(wander, (), part, share * likely, hunts)
    for tone in _tones():
        share = _TONE_SHARE / (len(_WANDER_PERIODS_S) - 1)
        yield _Case(tone, (), 1.0, share, hunts=True)
    for (shapes, likely), (wander, share, hunts) in product(_shapes(), alike):
        yield _Case(wander, shapes, 1.0, share * likely, hunts)


def _tones() -> Iterator[tuple[float, ...]]:
    """Standard deviations of sines, then cosines, for a tone between each period and the next."""
    for first in range(len(_WANDER_PERIODS_S) - 1):
        periods = [_QUIET[0][0]] * len(_WANDER_PERIODS_S)
        periods[first] = periods[first + 1] = _TONE
        yield (*periods, *periods)


def _shapes() -> Iterator[tuple[tuple[int, ...], float]]:
    """Columns of each other shape, and its share: one creep each, or all damped swings."""
    creeps = len(_CREEP_S)
    for creep in range(creeps):
        yield (creep,), _CREEPS_SHARE / creeps
    yield tuple(range(creeps, _OTHER_COUNT)), 1 - _CREEPS_SHARE


@dataclass(frozen=True)
class Explanations:
    """The k explanations with one number of columns of other shapes.

    `wander` (k,): which row of `WANDERS`; `columns` (k, c): indices, behind the wander, of the
    columns of shape and course; `sd` (k, c): standard deviations of their coefficients.
    """

    wander: Indices
    columns: Indices
    sd: Floats
    share: Floats
    hunts: Flags
    other_shape: bool

    @classmethod
    def of(cls, cases: Sequence[_Case]) -> Explanations:
        """The explanations of `cases`, which all have one number of shapes."""
        course = range(_OTHER_COUNT, _OTHER_COUNT + COURSE_COUNT)
        sd = [[_SHAPE_SD[k] for k in each.shapes] + _course_sd(each.course) for each in cases]
        return cls(
            wander=np.array([_WANDERS.index(each.wander) for each in cases]),
            columns=np.array([(*each.shapes, *course) for each in cases]),
            sd=np.array(sd),
            share=np.array([each.share for each in cases]),
            hunts=np.array([each.hunts for each in cases]),
            other_shape=bool(cases[0].shapes),
        )

    def log_probability(self, habits: Habits) -> Floats:
        """Logarithm of the prior probability of each, shape (k,), by the habits of the unit."""
        rises = habits.other_shape if self.other_shape else 1 - habits.other_shape
        hunts = np.where(self.hunts, habits.hunting, 1 - habits.hunting)
        log_probability: Floats = np.log(rises * hunts * self.share)
        return log_probability


def _course_sd(factor: float) -> list[float]:
    return [factor * sd for sd in _COURSE]


def _grouped() -> Iterator[Explanations]:
    """All explanations, grouped by their number of columns."""
    cases = sorted(_cases(), key=lambda case: len(case.shapes))
    for _, alike in groupby(cases, key=lambda case: len(case.shapes)):
        yield Explanations.of([*alike])


_WANDERS = [*dict.fromkeys(case.wander for case in _cases())]
WANDERS: Floats = np.array(_WANDERS)
"""Standard deviations of the coefficients of each wander, shape (w, WANDER_COUNT)."""
EXPLANATIONS = (*_grouped(),)
