"""How an output may depart from a plain rise with droop, as alternative explanations.

Each kind of departure is a few columns of a regression, relative to the risen output:

- another shape of the rise (slow creep after a quick part, damped swings), which dies away;
- wander (hunting of any shape, 1/f noise), which goes on: sines and cosines of several periods;
- another course of the droop, and a steady drift; both are 0 at the age asked for.

An explanation says how large the coefficients of each kind may be. Their amplitudes are part of the
output relative to its level.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from math import exp
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from .ar1_regression import Prior, diagonal_prior
from .coefficients import COUNT
from .habits import Habits

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

_CREEP_S = (1.0, 1.4, 2.0, 2.8, 4.0, 5.6)
"""Time constants of a slow creep; one in between is within 1 % of its amplitude of the next."""
_SWING_S = ((0.9, 3.0), (2.0, 6.0))
"""Time constant and period of damped swings."""
_WANDER_PERIODS_S = (3.0, 4.5, 6.75, 10.1, 15.2, 22.8)
"""Each 1.5 times the last: equal amplitudes are about 1/f noise; a tone lies between two."""
_DROOP_S = (4.0, 16.0)
"""Time constants of an output stage that warms quicker, or slower, than usual."""
_DRIFT_S = 20.0
"""The drift is counted over so long."""
_COURSE = (0.006, 0.006, 0.003)
"""Standard deviations of the two courses of the droop and of the drift."""
_COURSES = ((1.0, 0.4), (0.25, 0.6))
"""Those of units that droop in another course, as parts of these, and of most; their shares."""
_ABSENT = 1e-7
"""Amplitude of what an explanation does without."""
_OTHER_SHAPE = 0.1
"""Standard deviation of each coefficient of another shape."""
_CREEPS_SHARE = 0.6
"""Of the outputs that rise in another shape, those that creep; the others swing."""
_QUIET = ((0.0003, 0.7), (0.0012, 0.3))
"""Standard deviation of each coefficient of wander of outputs that do not hunt, and its share."""
_HUNTING = ((0.004, 0.2), (0.013, 0.2))
"""The same of those that hunt at all periods alike."""
_TONE, _TONE_SHARE = 0.006, 0.6
"""The same of those that hunt with one period; at the others they are as quiet as most."""

_OTHER_COUNT = len(_CREEP_S) + 2 * len(_SWING_S)
_WANDER_COUNT = 2 * len(_WANDER_PERIODS_S)
COURSE_COUNT = len(_COURSE)
DEPARTURE_COUNT = _OTHER_COUNT + _WANDER_COUNT + COURSE_COUNT


def departure_columns(
    age_s: Floats, risen: Floats, *, dead_time_s: float, warm_s: Floats, at_age_s: float
) -> Floats:
    """Readings per unit of each departure, shape (n, DEPARTURE_COUNT); the course comes last.

    `age_s` (n,): ages of the readings; `risen` (n,): what has risen by then, relative to the level;
    `warm_s` (n,): how long the output stage has been warming.
    """
    since_s = np.maximum(age_s - dead_time_s, 0.0)
    columns = [*_other_shapes(since_s), *_wander(age_s), *_course(warm_s, at_age_s)]
    return np.stack(columns, axis=1) * risen[:, None]


def course_slopes(at_age_s: float) -> Floats:
    """Change of the output per second at the age asked for, per unit of each course's column."""
    return np.array([*(-exp(-at_age_s / tau_s) / tau_s for tau_s in _DROOP_S), 1 / _DRIFT_S])


def _other_shapes(since_s: Floats) -> Iterator[Floats]:
    for tau_s in _CREEP_S:
        yield np.exp(-since_s / tau_s)
    for tau_s, period_s in _SWING_S:
        decay, angle = np.exp(-since_s / tau_s), 2 * np.pi / period_s * since_s
        yield decay * np.sin(angle)
        yield decay * np.cos(angle)


def _wander(age_s: Floats) -> Iterator[Floats]:
    for period_s in _WANDER_PERIODS_S:
        angle = 2 * np.pi / period_s * age_s
        yield np.sin(angle)
        yield np.cos(angle)


def _course(warm_s: Floats, at_age_s: float) -> Iterator[Floats]:
    for tau_s in _DROOP_S:
        yield np.exp(-warm_s / tau_s) - exp(-at_age_s / tau_s)
    yield (warm_s - at_age_s) / _DRIFT_S


@dataclass(frozen=True)
class Explanations:
    """Alternative explanations: `prior` of all columns, (k, p + 1, p + 1), the departures first.

    `log_probability` (k,) before the readings; `hunts`, `other_shape` (k,): which of them hunt, and
    which rise in another shape.
    """

    prior: Prior
    log_probability: Floats
    hunts: Flags
    other_shape: Flags


def no_departures(eight: Prior) -> Explanations:
    """The one explanation without departures; `eight`: prior of the eight coefficients."""
    none = np.zeros(1, dtype=np.bool_)
    return Explanations(eight, np.zeros(1), none, none)


def explanations(eight: Prior, variance: float, habits: Habits) -> Explanations:
    """Explanations under noise of a `variance` by what is known of the unit's `habits`.

    `eight`: prior of the eight coefficients, whose columns come after those of the departures.
    """
    cases = [*_cases(habits)]
    sd = np.array([case.sd for case in cases])
    return Explanations(
        _joined(diagonal_prior(np.zeros(DEPARTURE_COUNT), variance / sd**2), eight),
        np.log(np.array([case.probability for case in cases])),
        np.array([case.hunts for case in cases]),
        np.array([case.other_shape for case in cases]),
    )


class _Case(NamedTuple):
    """One explanation: sd of each departure's coefficient, probability, hunting, other shape."""

    sd: list[float]
    probability: float
    hunts: bool
    other_shape: bool


def _cases(habits: Habits) -> Iterator[_Case]:
    """Each rise with each wander; courses and tones with the usual rise, as they are subtle."""
    usual, other, hunting = 1 - habits.other_shape, habits.other_shape, habits.hunting
    wanders = [([sd] * _WANDER_COUNT, (1 - hunting) * share, False) for sd, share in _QUIET]
    wanders += [([sd] * _WANDER_COUNT, hunting * share, True) for sd, share in _HUNTING]
    plain = [_ABSENT] * _OTHER_COUNT
    for (wander, share, hunts), (part, likely) in product(wanders, _COURSES):
        course = [part * sd for sd in _COURSE]
        yield _Case(plain + wander + course, usual * share * likely, hunts, other_shape=False)
    for tone in _tones():
        share = hunting * _TONE_SHARE / (len(_WANDER_PERIODS_S) - 1)
        yield _Case(plain + tone + [*_COURSE], usual * share, hunts=True, other_shape=False)
    for (shape, likely), (wander, share, hunts) in product(_shapes(), wanders):
        yield _Case(shape + wander + [*_COURSE], other * share * likely, hunts, other_shape=True)


def _tones() -> Iterator[list[float]]:
    """Standard deviations of the wander with a tone between each period and the next."""
    for first in range(len(_WANDER_PERIODS_S) - 1):
        periods = [_QUIET[0][0]] * len(_WANDER_PERIODS_S)
        periods[first] = periods[first + 1] = _TONE
        yield [sd for sd in periods for _ in range(2)]


def _shapes() -> Iterator[tuple[list[float], float]]:
    """Standard deviations of each other shape, and its share: one creep each, or all swings."""
    for creep in range(len(_CREEP_S)):
        sd = [_ABSENT] * _OTHER_COUNT
        sd[creep] = _OTHER_SHAPE
        yield sd, _CREEPS_SHARE / len(_CREEP_S)
    swings = _OTHER_COUNT - len(_CREEP_S)
    yield [_ABSENT] * len(_CREEP_S) + [_OTHER_SHAPE] * swings, 1 - _CREEPS_SHARE


def _joined(departures: Prior, eight: Prior) -> Prior:
    """Prior of the departures, (k, ...), and of the eight coefficients, independent of them."""
    first = DEPARTURE_COUNT
    size = first + COUNT + 1
    normal = np.zeros((departures.normal.shape[0], size, size))
    normal[:, :first, :first] = departures.normal[:, :first, :first]
    normal[:, first:, first:] = eight.normal
    return Prior(normal, departures.log_determinant)
