"""Calibration intervals, from a reliability target or from the trend of the values.

Reliability is the share of instruments found in tolerance at the end of their interval. Intervals
and times are in one unit, such as days. Methods A1, A3 and variables are those of NCSLI RP-1.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from ohmwright.fleet import binomial
from ohmwright.fleet.drift import Trend, first_failure
from ohmwright.uncertainty.conformity import Limits
from ohmwright.uncertainty.inputs import Input, coverage_factor


def exponential_interval(interval: float, observed: float, target: float) -> float:
    """Return the interval at which reliability equals `target`, if it decays as exp(-rate t).

    `observed`: reliability at the end of `interval`. Raises ValueError outside (0, 1).
    """
    if not (0.0 < observed < 1.0 and 0.0 < target < 1.0):
        raise ValueError("a reliability lies between 0 and 1, both excluded")
    return interval * math.log(target) / math.log(observed)


@dataclass(frozen=True, slots=True)
class IntervalTest:
    """Result of the A3 test of one interval.

    `interval`: the one to use from now on, `changed`: whether it differs from the old one.
    `observed`: observed reliability, with the confidence limits `reliability`.
    `rejection_confidence`: confidence that it differs from the target; below the one asked for,
    the interval stays.
    """

    interval: float
    observed: float
    rejection_confidence: float
    reliability: binomial.ShareLimits
    changed: bool


def a3_test(
    in_tolerance: int,
    tested: int,
    interval: float,
    target: float,
    confidence: float = 0.5,
    change_limits: tuple[float, float] = (0.1, 10.0),
) -> IntervalTest:
    """Return whether an interval meets its reliability target, and a new interval if it does not.

    `in_tolerance` of `tested` instruments were in tolerance at the end of `interval`. Where too few
    were, the new one is the old one times 10^((observed - target) Q), where more were, times
    10^((observed - target) / (1 - Q)), with Q the rejection confidence; at least and at most
    `change_limits` times the old one.
    """
    limits = binomial.clopper_pearson(in_tolerance, tested, confidence)
    observed = in_tolerance / tested
    if observed < target:
        tail = binomial.probability_of_at_most(in_tolerance, tested, target)
    else:
        tail = 1.0 - binomial.probability_of_at_most(in_tolerance - 1, tested, target)
    rejection = max(0.0, 1.0 - 2.0 * tail)
    if rejection < confidence:
        return IntervalTest(interval, observed, rejection, limits, changed=False)
    smallest, largest = change_limits
    if observed < target:
        exponent = (observed - target) * rejection
    else:
        exponent = min((observed - target) / (1.0 - rejection), math.log10(largest))
    factor = min(max(10.0**exponent, smallest), largest)
    return IntervalTest(factor * interval, observed, rejection, limits, changed=True)


def a1_shortening(target: float, lengthening: float) -> float:
    """Return the fraction b by which method A1 shortens an interval after a failure.

    `lengthening`: fraction a by which it is lengthened after a success; `target`: reliability R.
    (1 - b) = (1 + a)^(-R / (1 - R)) keeps the mean interval constant at R (from memory). Raises
    ValueError for a target outside (0, 1) or a negative lengthening.
    """
    if not 0.0 < target < 1.0 or lengthening < 0.0:
        raise ValueError("a target lies between 0 and 1, and a lengthening is not negative")
    return -math.expm1(-target / (1.0 - target) * math.log1p(lengthening))


@dataclass(frozen=True, slots=True)
class Forecast:
    """A value after a calibration: the value at the calibration plus a fitted change since then."""

    start: Input
    change: Trend

    def expected(self, time: float) -> Input:
        """Return value, standard uncertainty and effective dof at `time` after the calibration."""
        change = self.change.predict(time)
        variances = self.start.standard_uncertainty**2, change.trend_u**2
        total = sum(variances)
        spread = variances[0] ** 2 / self.start.dof + variances[1] ** 2 / change.dof
        dof = total * total / spread if spread > 0.0 else math.inf
        value = self.start.value + change.value
        return Input(self.start.label, value, math.sqrt(total), dof)

    def first_time_outside(self, limits: Limits, horizon: float, coverage: float) -> float | None:
        """Return the first time at which the coverage interval reaches a limit of `limits`.

        None if it does not by `horizon`.
        """

        def holds(time: float) -> bool:
            expected = self.expected(time)
            reach = coverage_factor(expected.dof, coverage) * expected.standard_uncertainty
            return expected.value - reach in limits and expected.value + reach in limits

        return self._first(holds, horizon)

    def first_time_uncertain(self, standard_uncertainty: float, horizon: float) -> float | None:
        """Return the first time at which the standard uncertainty is above `standard_uncertainty`.

        None if it is not by `horizon`.
        """

        def holds(time: float) -> bool:
            return self.expected(time).standard_uncertainty <= standard_uncertainty

        return self._first(holds, horizon)

    def _first(self, holds: Callable[[float], bool], horizon: float) -> float | None:
        return first_failure(holds, self.change.origin, horizon)
