"""The meter: true RMS over a window, at its own rate and in its own digits."""

from __future__ import annotations

from collections import deque
from math import sqrt

import numpy as np

from .drawn import Drawn


class RmsMeter:
    """Fed with the output at steps of `step_s`; gives a reading when one is due."""

    def __init__(self, unit: Drawn, step_s: float, rng: np.random.Generator) -> None:
        self._unit, self._rng = unit, rng
        window = max(1, round(unit.window_s / step_s))
        self._squares: deque[float] = deque([0.0] * window, maxlen=window)

    def feed(self, output_ma: float) -> None:
        """The output over the next step."""
        self._squares.append(output_ma**2)

    def read(self) -> float:
        """What it shows, mA."""
        rms = sqrt(sum(self._squares) / len(self._squares))
        noisy = rms * (1 + self._unit.meter_noise * float(self._rng.normal()))
        digit = self._unit.digit_ma
        return float(np.round(noisy / digit) * digit)
