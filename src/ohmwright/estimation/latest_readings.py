"""The line through the latest readings of an activation: whether they still rise, and where to."""

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
    end: float
    """The line where the latest reading was taken."""

    def rise_beyond(self, allowed: float) -> bool:
        """Whether they clearly rise by more than `allowed` per second."""
        return self.slope - _CLEAR_SDS * self.slope_sd > allowed

    def rise_above(self, value: float) -> bool:
        """Whether they clearly rise, and have clearly risen above `value`."""
        return (
            self.slope > _CLEAR_SDS * self.slope_sd and self.end - _CLEAR_SDS * self.mean_sd > value
        )

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
    sds = (variance / count) ** 0.5, (variance / spread) ** 0.5
    return LatestReadings(mean, sds[0], slope, sds[1], mean + slope * float(at_s[-1]))
