"""Calibration intervals, by reliability target and by the trend of the values.

Reliability is the share of instruments found in tolerance at the end of their interval. Intervals
and times are in any one unit, days say. The A1, A3 and variables methods are those of NCSLI RP-1.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from ohmwright.fleet import binomial
from ohmwright.fleet.drift import Trend, first_failure
from ohmwright.uncertainty.conformity import Limits
from ohmwright.uncertainty.distributions import coverage_factor
from ohmwright.uncertainty.inputs import Input


def exponential_interval(interval: float, observed: float, target: float) -> float:
    """Interval that brings the observed reliability to target, if it decays as exp(-rate t)."""
    if not (0.0 < observed < 1.0 and 0.0 < target < 1.0):
        raise ValueError("a reliability lies between 0 and 1, both excluded")
    return interval * math.log(target) / math.log(observed)


@dataclass(frozen=True, slots=True)
class IntervalTest:
    """Outcome of the A3 test of one interval.

    `rejection_confidence` is how surely the observed reliability differs from the target; below
    the confidence asked for, the interval stays. `reliability` holds confidence limits.
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
    """Test whether an interval meets its reliability target, and change it where it does not.

    The new interval is the old one times 10^((observed - target) Q) where too few were in
    tolerance, 10^((observed - target) / (1 - Q)) where more were, with Q the rejection confidence,
    and held within `change_limits` times the old one.
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
    """Fraction to shorten an interval by on failure, to balance `lengthening` it on success.

    (1 - b) = (1 + a)^(-R / (1 - R)) keeps the mean interval still at reliability R (from memory).
    """
    if not 0.0 < target < 1.0 or lengthening < 0.0:
        raise ValueError("a target lies between 0 and 1, and a lengthening is not negative")
    return -math.expm1(-target / (1.0 - target) * math.log1p(lengthening))


@dataclass(frozen=True, slots=True)
class Forecast:
    """A value after a calibration: what was found there, plus the fitted change since then."""

    start: Input
    change: Trend

    def expected(self, time: float) -> Input:
        """Value, uncertainty and Welch-Satterthwaite dof at `time` after the calibration."""
        change = self.change.predict(time)
        variances = self.start.standard_uncertainty**2, change.trend_u**2
        total = sum(variances)
        spread = variances[0] ** 2 / self.start.dof + variances[1] ** 2 / change.dof
        dof = total * total / spread if spread > 0.0 else math.inf
        value = self.start.value + change.value
        return Input(self.start.label, value, math.sqrt(total), dof)

    def leaves(self, limits: Limits, horizon: float, coverage: float) -> float | None:
        """First time at which the two-sided coverage interval reaches a limit; None if never."""

        def held(time: float) -> bool:
            expected = self.expected(time)
            reach = coverage_factor(expected.dof, coverage) * expected.standard_uncertainty
            return expected.value - reach in limits and expected.value + reach in limits

        return self._first(held, horizon)

    def uncertainty_exceeds(self, standard_uncertainty: float, horizon: float) -> float | None:
        """First time at which the standard uncertainty is larger than this; None if never."""

        def held(time: float) -> bool:
            return self.expected(time).standard_uncertainty <= standard_uncertainty

        return self._first(held, horizon)

    def _first(self, held: Callable[[float], bool], horizon: float) -> float | None:
        return first_failure(held, self.change.origin, horizon)
