"""Whether the latest readings of an output still rise, whatever the model of the lag says.

A slow part of the rise can pass for a swing of which little was seen, or for a course of the droop.
So no value is decided while its readings rise on, or once they have risen above the limit.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_SPAN_S = 2.0
"""Time of the latest readings."""
_FEWEST = 6
"""Least number of the latest readings: a slope through fewer says nothing."""
_CLEAR_SDS = 2.0
"""A slope or a mean is clearly above its limit by more than this, in standard deviations."""


@dataclass(frozen=True)
class LatestReadings:
    """The line through the latest readings: its mean, its slope per second, and their sd."""

    mean: float
    mean_sd: float
    slope: float
    slope_sd: float

    def rise_beyond(self, allowed: float) -> bool:
        """Whether they clearly rise by more than `allowed` per second."""
        return self.slope - _CLEAR_SDS * self.slope_sd > allowed

    def lie_above(self, limit: float) -> bool:
        """Whether they clearly lie above `limit`."""
        return self.mean - _CLEAR_SDS * self.mean_sd > limit


def latest_readings(age_s: Floats, value: Floats, correlation: float) -> LatestReadings | None:
    """The latest of the readings, shape (n,) each; None where there are too few.

    `correlation`: of the noise of neighbouring readings.
    """
    count = max(_FEWEST, int(np.count_nonzero(age_s > age_s[-1] - _SPAN_S)))
    if age_s.size < count:
        return None
    at_s, seen = age_s[-count:] - np.mean(age_s[-count:]), value[-count:]
    spread = float(at_s @ at_s)
    mean, slope = float(np.mean(seen)), float(at_s @ seen) / spread
    residuals = seen - mean - slope * at_s
    inflation = (1 + correlation) / (1 - correlation)
    variance = inflation * float(residuals @ residuals) / (count - 2)
    return LatestReadings(mean, (variance / count) ** 0.5, slope, (variance / spread) ** 0.5)
