"""Drift of one quantity over time: a fitted trend, its prediction, and when it leaves limits.

Times are in a unit and from an origin of the caller's choice, usually days since the last
calibration.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from ohmwright.fleet.regression import Fit, least_squares
from ohmwright.uncertainty.conformity import Limits
from ohmwright.uncertainty.inputs import coverage_factor

LINE = (0, 1)


@dataclass(frozen=True, slots=True)
class Prediction:
    """The value of a trend at a time, with standard uncertainties and degrees of freedom.

    `trend_u` is that of the trend itself, `reading_u` that of one new reading.
    """

    value: float
    trend_u: float
    reading_u: float
    dof: float

    def interval(self, coverage: float = 0.95) -> Limits:
        """Return the interval in which one new reading lies with the probability `coverage`."""
        reach = coverage_factor(self.dof, coverage) * self.reading_u
        return Limits(self.value - reach, self.value + reach)

    def trend_interval(self, coverage: float = 0.95) -> Limits:
        """Return the coverage interval of the trend itself."""
        reach = coverage_factor(self.dof, coverage) * self.trend_u
        return Limits(self.value - reach, self.value + reach)


@dataclass(frozen=True, slots=True)
class Trend:
    """A fitted polynomial: value(t) = sum of coefficient * (t - origin)^power over `powers`."""

    fit: Fit
    powers: tuple[int, ...]
    origin: float = 0.0

    def predict(self, time: float) -> Prediction:
        """Return value and uncertainties at `time`, within the data or beyond."""
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

    def first_time_outside(
        self, limits: Limits, start: float, horizon: float, coverage: float = 0.95
    ) -> float | None:
        """Return the first time from `start` at which a new reading may lie outside `limits`.

        It is where the prediction interval of a reading reaches a limit; None if that is after
        `horizon`.
        """

        def holds(time: float) -> bool:
            expected = self.predict(time).interval(coverage)
            return expected.lower in limits and expected.upper in limits

        return first_failure(holds, start, horizon)


def fit_trend(
    times: npt.ArrayLike,
    values: npt.ArrayLike,
    powers: Sequence[int] = LINE,
    origin: float = 0.0,
) -> Trend:
    """Return the least-squares trend of `values` at `times`, both of shape (n,), of equal weight.

    A straight line by default. Without the power 0 the trend is zero at the origin, as for changes
    since a calibration. Raises ValueError where n does not exceed the number of powers.
    """
    since = np.asarray(times, dtype=np.float64) - origin
    design = np.stack([since**power for power in powers], axis=1)
    return Trend(least_squares(design, values), tuple(powers), origin)


def first_failure(holds: Callable[[float], bool], start: float, horizon: float) -> float | None:
    """Return the first time from `start` at which `holds` is false, None if true up to `horizon`.

    Searched on a grid of 500 steps, then by bisection: a failure shorter than a step may be missed.
    """
    if not holds(start):
        return start
    step = (horizon - start) / 500.0
    for index in range(1, 501):
        late = start + index * step
        if not holds(late):
            return _bisected(holds, late - step, late)
    return None


def _bisected(holds: Callable[[float], bool], early: float, late: float) -> float:
    while late - early > 1e-9 * max(abs(late), 1.0):
        middle = 0.5 * (early + late)
        early, late = (middle, late) if holds(middle) else (early, middle)
    return late
