"""From the demanded level to the output: linear dynamics in state space, behind a dead time."""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray
from scipy.signal import cont2discrete, tf2ss

from .drawn import Drawn

Floats = NDArray[np.float64]


def transfer_function(unit: Drawn) -> tuple[Floats, Floats]:
    """Numerator and denominator in s, of gain 1 at rest, without the dead time."""
    slow, second, third = unit.lags_s
    if unit.world.rise == "overshoot":
        pair = [slow**2, 2 * unit.damping * slow, 1.0]
        return np.array([1.0]), np.asarray(np.polymul(pair, [third, 1.0]), dtype=np.float64)
    if unit.world.rise == "jump and creep":
        # the quick part and the creeping part side by side
        share = unit.creep_share
        quick = np.polymul([second / 4, 1.0], [third / 4, 1.0])
        numerator = np.polyadd((1 - share) * np.array([slow, 1.0]), share * quick)
        return numerator, np.polymul(quick, [slow, 1.0])
    lags = np.polymul([slow, 1.0], np.polymul([second, 1.0], [third, 1.0]))
    return np.array([1.0]), np.asarray(lags, dtype=np.float64)


class Rise:
    """Steps of `step_s`; the input is held over each."""

    def __init__(self, unit: Drawn, step_s: float) -> None:
        system = tf2ss(*transfer_function(unit))
        a, b, c, d, _ = cont2discrete(system, step_s, method="zoh")
        self._a, self._b, self._c, self._d = a, b[:, 0], c[0], float(d[0, 0])
        self._late = round(unit.dead_s / step_s)
        self.reset()

    def reset(self) -> None:
        """No output, and none on its way."""
        self._state = np.zeros(self._a.shape[0])
        self._waiting: deque[float] = deque([0.0] * self._late)

    def step(self, level: float) -> float:
        """The output now, the level being demanded from now on."""
        self._waiting.append(level)
        heard = self._waiting.popleft()
        output = float(self._c @ self._state) + self._d * heard
        self._state = self._a @ self._state + self._b * heard
        return output
