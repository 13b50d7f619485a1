"""Drift of one quantity over time: a fitted trend, what it predicts, and when it leaves its limits.

Time is in any unit, measured from an origin of the caller's choice (usually days since the last
calibration).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmwright.fleet.regression import Fit, least_squares
from ohmwright.uncertainty.conformity import Limits
from ohmwright.uncertainty.distributions import coverage_factor

LINE = (0, 1)


@dataclass(frozen=True, slots=True)
class Prediction:
    """A trend's value, the standard uncertainty of the trend there, and that of one new reading."""

    value: float
    trend_u: float
    reading_u: float
    dof: float

    def interval(self, coverage: float = 0.95) -> Limits:
        """Where one new reading will lie, with this probability."""
        reach = coverage_factor(self.dof, coverage) * self.reading_u
        return Limits(self.value - reach, self.value + reach)

    def trend_interval(self, coverage: float = 0.95) -> Limits:
        """Where the trend itself lies."""
        reach = coverage_factor(self.dof, coverage) * self.trend_u
        return Limits(self.value - reach, self.value + reach)


@dataclass(frozen=True, slots=True)
class Trend:
    """value(t) = sum of coefficient * (t - origin)^power over `powers`."""

    fit: Fit
    powers: tuple[int, ...]
    origin: float = 0.0

    def predict(self, time: float) -> Prediction:
        """Value and uncertainties at a time, inside the data or beyond it."""
        row = np.array([(time - self.origin) ** power for power in self.powers])
        variance = max(0.0, float(row @ self.fit.covariance @ row))
        return Prediction(
            value=float(row @ self.fit.coefficients),
            trend_u=math.sqrt(variance),
            reading_u=math.sqrt(variance + self.fit.residual_sd**2),
            dof=self.fit.dof,
        )

    @property
    def slope(self) -> float:
        """Coefficient of the first power, in value per unit of time at the origin."""
        return float(self.fit.coefficients[self.powers.index(1)])

    @property
    def slope_u(self) -> float:
        """Standard uncertainty of the slope."""
        return float(self.fit.standard_uncertainties[self.powers.index(1)])

    def leaves(
        self, limits: Limits, start: float, horizon: float, coverage: float = 0.95
    ) -> float | None:
        """First time from `start` at which a new reading may lie outside `limits`.

        That is where its prediction interval reaches a limit; None if it does not by `horizon`.
        """

        def held(time: float) -> bool:
            expected = self.predict(time).interval(coverage)
            return expected.lower in limits and expected.upper in limits

        return first_failure(held, start, horizon)


def fit_trend(
    times: npt.ArrayLike,
    values: npt.ArrayLike,
    powers: Sequence[int] = LINE,
    origin: float = 0.0,
) -> Trend:
    """Least-squares trend through readings of equal weight; a straight line unless said otherwise.

    Powers without 0 hold the trend to zero at the origin: changes since a calibration.
    """
    since = np.asarray(times, dtype=np.float64) - origin
    design = np.stack([since**power for power in powers], axis=1)
    return Trend(least_squares(design, values), tuple(powers), origin)


def first_failure(held: Callable[[float], bool], start: float, horizon: float) -> float | None:
    """First time from `start` at which `held` is false, None if it holds up to `horizon`.

    Found on a grid of 500 steps and then by halving: a failure shorter than a step may be missed.
    """
    if not held(start):
        return start
    step = (horizon - start) / 500.0
    for index in range(1, 501):
        late = start + index * step
        if not held(late):
            return _halve(held, late - step, late)
    return None


def _halve(held: Callable[[float], bool], early: float, late: float) -> float:
    while late - early > 1e-9 * max(abs(late), 1.0):
        middle = 0.5 * (early + late)
        early, late = (middle, late) if held(middle) else (early, middle)
    return late
