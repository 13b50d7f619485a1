"""The meter: true RMS over a window or by a filter, at its own rate and in its own digits."""

from __future__ import annotations

from collections import deque
from math import exp, sqrt
from typing import Protocol

import numpy as np

from .drawn import Drawn


class _MeanSquare(Protocol):
    """Takes the square of the output at steps, and has the mean."""

    @property
    def mean(self) -> float:
        """That of the squares so far."""

    def feed(self, square: float) -> None:
        """The square over the next step."""


class _Window:
    """The plain mean of the last `steps`."""

    def __init__(self, steps: int) -> None:
        self._squares: deque[float] = deque([0.0] * steps, maxlen=steps)

    @property
    def mean(self) -> float:
        return sum(self._squares) / len(self._squares)

    def feed(self, square: float) -> None:
        self._squares.append(square)


class _Filter:
    """A filter of first order with a time constant of so many `steps`."""

    def __init__(self, steps: float) -> None:
        self.mean = 0.0
        self._share = 1 - exp(-1 / steps)

    def feed(self, square: float) -> None:
        self.mean += self._share * (square - self.mean)


class RmsMeter:
    """Fed with the output at steps of `step_s`; gives a reading when one is due."""

    def __init__(self, unit: Drawn, step_s: float, rng: np.random.Generator) -> None:
        self._unit, self._rng = unit, rng
        steps = max(1, round(unit.window_s / step_s))
        filters = unit.world.averages_by == "filter"
        # the window of a filter is twice its time constant, which delays as much
        self._squares: _MeanSquare = _Filter(steps / 2) if filters else _Window(steps)

    def feed(self, output_ma: float) -> None:
        """The output over the next step."""
        self._squares.feed(output_ma**2)

    def read(self) -> float:
        """What it shows, mA."""
        rms = sqrt(self._squares.mean)
        noisy = rms * (1 + self._unit.meter_noise * float(self._rng.normal()))
        digit = self._unit.digit_ma
        return float(np.round(noisy / digit) * digit)
