"""The eight coefficients that describe one point, and what a meter shows of each.

A vector of coefficients has shape (8,), in the order of `Coefficient`; a covariance (8, 8). Outputs
are relative to the point's target. A reading is linear in the first five; the other three, the
dynamics, are logarithms since they are positive and known to a factor.

The output follows ON and moves of the trim through a dead time and two lags (the poles, with the
first and the second time constant; or a pair that swings), and droops; the meter averages it over a
window.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from math import exp

import numpy as np
from numpy.typing import NDArray

from .swinging_rise import swinging_response, swinging_with_slopes

Floats = NDArray[np.float64]


class Coefficient(IntEnum):
    """Index of each coefficient in every vector of them."""

    LEVEL = 0
    """Output with the trim at its start, free of lag, at the age asked for."""
    GAIN = 1
    """Change of the output per count of the trim."""
    COARSE_PRESS = 2
    """Change per coarse press beyond that of its nominal counts."""
    CURVATURE = 3
    """Change per unit of squared counts over 200, so that the gain changes by it in 100 counts."""
    DROOP = 4
    """Output that a stage warm through has lost."""
    LOG_LAG = 5
    """Logarithm of the first time constant in s."""
    LOG_DEAD_TIME = 6
    """Logarithm of the dead time in s."""
    LOG_POLE_RATIO = 7
    """Logarithm of the second time constant over the first; above 0, of a rise that swings, of its
    sharpness, one over its damping ratio. The first is then that with which swings die away."""


COUNT = len(Coefficient)

TRIM = slice(Coefficient.LEVEL, Coefficient.DROOP)
"""The four that a trim position is multiplied with."""
LINEAR = slice(Coefficient.LEVEL, Coefficient.LOG_LAG)
"""The five in which a reading is linear: those of the trim, and droop."""
DYNAMIC = slice(Coefficient.LOG_LAG, COUNT)
"""The logarithms of lag, dead time and ratio of the poles."""
ALL = slice(0, COUNT)
"""All eight, where an array has further columns behind them."""
LINEAR_COUNT, DYNAMIC_COUNT = LINEAR.stop - LINEAR.start, DYNAMIC.stop - DYNAMIC.start

_CURVATURE_COUNTS = 200
DROOP_TAU_S = 8.0
"""Time constant with which a typical unit warms while RF is on, s."""


def combination(factors: Mapping[Coefficient, float]) -> Floats:
    """Factors of a linear combination, shape (8,); coefficients not named have factor 0."""
    vector = np.zeros(COUNT)
    for coefficient, factor in factors.items():
        vector[coefficient] = factor
    return vector


def output_at(counts: float, coarse_presses: float) -> Floats:
    """Combination, shape (8,), that is the output at a distance of the trim from its start.

    `counts` include those of coarse presses at their nominal size.
    """
    return combination(
        {
            Coefficient.LEVEL: 1.0,
            Coefficient.GAIN: counts,
            Coefficient.COARSE_PRESS: coarse_presses,
            Coefficient.CURVATURE: counts * counts / _CURVATURE_COUNTS,
        }
    )


@dataclass(frozen=True)
class Steps:
    """What the output of one activation responds to: switching on (first row), then each move.

    `at_s` (k,): age of each step; `weights` (k, 4): how much it adds to the factor of each
    coefficient of the trim (level, gain, coarse press, curvature).
    """

    at_s: Floats
    weights: Floats

    @classmethod
    def switching_on(cls) -> Steps:
        """RF switched on at age 0 with the trim at its start, and never moved."""
        return cls(np.zeros(1), output_at(0, 0)[None, TRIM])

    @property
    def last_position(self) -> Floats:
        """Factors of the trim's coefficients after the last step, shape (4,)."""
        position: Floats = self.weights.sum(axis=0)
        return position

    def delays(self, move_delay: Floats | float) -> Floats | float:
        """Factor on dead time and lags, shape (..., k, 1): 1 for ON, `move_delay` for each move."""
        if self.at_s.size == 1:
            return 1.0
        each = np.asarray(move_delay, dtype=np.float64)[..., None, None]
        delays = np.repeat(each, self.at_s.size, axis=-2)
        delays[..., 0, :] = 1.0
        return delays


def window_mean_response(
    since_s: Floats,
    window_s: float,
    *,
    lag_s: Floats | float,
    dead_time_s: Floats | float,
    pole_ratio: Floats | float,
) -> Floats:
    """Mean response to a unit step over a meter's window that ends `since_s` after the step.

    `pole_ratio`: second time constant over the first, not 1; the first is `lag_s`; or all above 1,
    sharpnesses of rises that swing. All broadcast with `since_s`.
    """
    if np.max(pole_ratio) > 1:
        return swinging_response(
            since_s, window_s, lag_s=lag_s, dead_time_s=dead_time_s, sharpness=pole_ratio
        )
    second_s = lag_s * pole_ratio
    late = np.maximum(since_s - dead_time_s, 0.0)
    early = np.maximum(since_s - window_s - dead_time_s, 0.0)
    slow = lag_s**2 / (lag_s - second_s)
    fast = second_s**2 / (lag_s - second_s)
    integral: Floats = late - early
    integral += slow * _decay_difference(late, early, lag_s)
    integral -= fast * _decay_difference(late, early, second_s)
    integral /= window_s
    return integral


def _decay_difference(late: Floats, early: Floats, tau_s: Floats | float) -> Floats:
    """exp(-late / tau) - exp(-early / tau).

    In place, in two arrays: to make one more would take as long as a sum.
    """
    difference, decay = late / -tau_s, early / -tau_s
    np.exp(difference, out=difference)
    np.exp(decay, out=decay)
    difference -= decay
    return difference


def driven(
    age_s: Floats,
    window_s: float,
    dynamics: Floats,
    steps: Steps,
    move_delay: Floats | float = 1.0,
    rise: Floats | None = None,
) -> Floats:
    """Readings without droop, per unit of each coefficient of the trim, shape (b, n, 4).

    `age_s` (n,): ages of the readings; `dynamics` (b, 3): lag s, dead time s and ratio of the
    second time constant to the first, for each of b cases; `move_delay` (b,), or one for all: dead
    time and lags with which moves act, over those of the rise. A trim that acts sooner (below 1) is
    taken to act behind what lags: its moves scale what has risen. Otherwise moves add to the rise.
    `rise` (b, n): the response to ON, where it is no mean.
    """
    lag_s, dead_time_s, pole_ratio = dynamics.T[:, :, None, None]

    def means() -> Floats:
        delay = steps.delays(move_delay)
        return window_mean_response(
            age_s[None, :] - steps.at_s[:, None],
            window_s,
            lag_s=lag_s * delay,
            dead_time_s=dead_time_s * delay,
            pole_ratio=pole_ratio,
        )

    each = _responses(means, steps, rise)
    sooner = np.broadcast_to(np.less(move_delay, 1), each.shape[:1])
    if sooner.any():
        each[sooner, 1:] *= each[sooner, :1]
    columns: Floats = each.swapaxes(1, 2) @ steps.weights
    return columns


def driven_with_slopes(
    age_s: Floats,
    window_s: float,
    dynamics: Floats,
    steps: Steps,
    move_delay: float,
    rise: Floats | None = None,
) -> tuple[Floats, Floats]:
    """What `driven` gives for one case, shape (n, 4), and its slopes, shape (3, n, 4).

    The slopes are the derivatives with respect to the logarithms of lag, dead time and ratio of the
    time constants. `rise` (4, n): the response to ON and its slopes, where it is no mean.
    """

    def means() -> Floats:
        since_s = age_s[None, :] - steps.at_s[:, None]
        return _window_mean_with_slopes(since_s, window_s, dynamics, steps.delays(move_delay))

    found = _responses(means, steps, rise)
    if move_delay < 1:
        risen, moves = found[:, :1], found[:, 1:]
        moves[1:] = moves[1:] * risen[0] + moves[0] * risen[1:]
        moves[0] *= risen[0]
    columns: Floats = found.swapaxes(1, 2) @ steps.weights
    return columns[0], columns[1:]


def _responses(means: Callable[[], Floats], steps: Steps, rise: Floats | None) -> Floats:
    """What `means` gives of all steps, shape (b, k, n), with `rise` (b, n) as the response to ON.

    Where there are no moves the means are not worked out for nothing.
    """
    if rise is None:
        return means()
    if steps.at_s.size == 1:
        return rise[:, None]
    found = means()
    found[:, 0] = rise
    return found


def _window_mean_with_slopes(
    since_s: Floats, window_s: float, dynamics: Floats, delay: Floats | float
) -> Floats:
    """`window_mean_response` and its slopes, shape (4, k, n), from the same four exponentials.

    The slopes are with respect to the logarithms of lag, dead time and pole ratio. `since_s`
    (k, n); `delay` (k, 1): factor on dead time and lags, `dynamics` (3,).
    """
    lag_s, dead_time_s, ratio = dynamics.tolist()
    if ratio > 1:
        return swinging_with_slopes(since_s, window_s, dynamics, delay)
    lags_s = lag_s * delay
    ends_s = np.maximum(np.array([since_s, since_s - window_s]) - dead_time_s * delay, 0.0)
    # of both poles, at the end of the window and at its beginning
    decays = np.exp(ends_s / np.array([-lags_s, -ratio * lags_s]).reshape(2, 1, -1, 1))
    parts = np.empty((2, 2, *since_s.shape))
    np.multiply(decays[:, 0] - decays[:, 1], lags_s, out=parts[0])
    decays *= ends_s
    np.subtract(decays[:, 0], decays[:, 1], out=parts[1])
    share = 1 / (1 - ratio)
    early = dead_time_s / lag_s
    # the differences of exp(-t / tau) times the lag, and those of t exp(-t / tau); slow, then fast
    factors = np.array(
        [
            [share, -(ratio**2) * share, 0.0, 0.0],
            [share, -(ratio**2) * share, share, -ratio * share],
            [early * share, -early * ratio * share, 0.0, 0.0],
            [ratio * share**2, -(2 - ratio) * (ratio * share) ** 2, 0.0, -ratio * share],
        ]
    )
    found: Floats = (factors @ parts.reshape(4, -1)).reshape(4, *since_s.shape)
    found[0] += ends_s[0] - ends_s[1]
    found /= window_s
    return found


def droop_shape(age_s: Floats, at_age_s: float, window_s: float, heat: float) -> Floats:
    """Droop at `age_s` less that of a rested activation at `at_age_s`, as a part of the largest.

    `at_age_s`: age at which the point's value holds; `age_s`, shape (n,), the end of a meter window
    of `window_s`, whose mean is taken to be the droop at its middle; `heat`: warmth at the start.
    """
    centre_s = age_s - 0.5 * window_s
    shape: Floats = exp(-at_age_s / DROOP_TAU_S) - (1 - heat) * np.exp(-centre_s / DROOP_TAU_S)
    return shape
