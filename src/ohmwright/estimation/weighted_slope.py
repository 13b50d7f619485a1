"""Whether repeated values of one quantity trend: a straight line through them, by least squares."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np


class Slope(NamedTuple):
    """The slope of a straight line, per unit of the places, and its standard uncertainty."""

    value: float
    uncertainty: float


def weighted_slope(
    places: Sequence[float], values: Sequence[float], uncertainties: Sequence[float]
) -> Slope:
    """Return the slope of `values` at `places`, each weighted by its standard uncertainty.

    Its uncertainty follows from those given, not from the residuals: a unit that swings has no
    trend, and two values have one. Raises ValueError for fewer than two different places.
    """
    x, y = np.asarray(places, float), np.asarray(values, float)
    weights = 1 / np.asarray(uncertainties, float) ** 2
    centred = x - np.average(x, weights=weights)
    spread = float(np.sum(weights * centred**2))
    if len(x) < 2 or spread <= 0:
        raise ValueError("a trend needs values at two different places")
    return Slope(float(np.sum(weights * centred * y)) / spread, spread**-0.5)
