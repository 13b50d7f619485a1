"""The eight coefficients that describe one point, and the steps that an activation responds to.

A vector of coefficients has shape (8,), in the order of `Coefficient`; a covariance (8, 8). Outputs
are relative to the point's target. A reading is linear in the first five; the other three, the
dynamics, are logarithms since they are positive and known to a factor.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

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
