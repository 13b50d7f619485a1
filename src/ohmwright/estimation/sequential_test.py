"""Where an output lies, decided on the readings of one rested activation alone.

A sequential test: after each reading a decision is made as soon as the probability of an error is
small. A decision counts only if it stands when departures from the model are allowed for: another
shape of the rise, hunting, another course of the droop.

A slow part of the rise can pass for a swing of which little was seen, or for a course of the droop.
So an output is not found in tolerance or too low while its readings rise on, or once they have
risen above the upper limit.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .activation_record import ActivationRecord, FitStart, Question
from .ar1_regression import mean
from .coefficients import Steps
from .habits import Habits
from .late_bend import ABOUT_S, bends, sinks_about
from .mixture import Mixture
from .prior import NoisePrior, TransientPrior, vague_prior
from .thermal_droop import ResidualWarmth
from .transient_estimate import TransientEstimate, fit_transient

Floats = NDArray[np.float64]
TestOutcome = Literal["in tolerance", "too low", "too high", "undecided"]

_MODEL = 0.03
"""Standard uncertainty of the model itself, in tolerances."""
_SPAN_S = 2.0
"""Time of the latest readings."""
_FEWEST = 6
"""Least number of the latest readings: a slope through fewer says nothing."""
_CLEAR_SDS = 2.0
"""A slope or a mean is clearly above its limit by more than this, in standard deviations."""
_RISEN_LAGS = 6.0
"""So many lags after its dead time a rise has come within 0.3 % of its level."""
_WELL_INSIDE = 0.8
"""Part of its limits within which the later readings of an output between two states are on
average: window and rise hide some of it; no source."""
_RESTED, _USUAL = ResidualWarmth(), Habits(hunting=0.05)


@dataclass(frozen=True)
class DecisionBounds:
    """What a decision needs.

    `inside`, `outside`: least probability that the value lies in tolerance, or beyond one side of
    it; `remainder`: largest remainder of the lag, in tolerances.
    """

    inside: float = 0.999
    outside: float = 0.999
    remainder: float = 0.6


@dataclass(frozen=True)
class Estimate:
    """Estimate of the value free of lag, in tolerances from the target.

    `remainder`: lag still to come, which is extrapolated, in tolerances;
    `lag_s`: its time constant; `low`, `high`: the limits, in tolerances from the target.
    """

    value: Mixture
    remainder: float
    lag_s: float
    low: float = -1.0
    high: float = 1.0

    @property
    def probability_in_tolerance(self) -> float:
        """Probability that the value lies between the limits."""
        return self.value.probability_between(self.low, self.high)

    def outcome(self, bounds: DecisionBounds) -> TestOutcome:
        """The decision, "undecided" while a probability or the remainder misses the bounds."""
        if self.remainder > bounds.remainder:
            return "undecided"
        low = self.value.probability_below(self.low)
        not_high = self.value.probability_below(self.high)
        if not_high - low >= bounds.inside:
            return "in tolerance"
        if low >= bounds.outside:
            return "too low"
        return "too high" if 1 - not_high >= bounds.outside else "undecided"

    def wait_s(self, bounds: DecisionBounds) -> float:
        """When to look again, in s from now: 0 if the remainder is small enough, at most 0.8."""
        if self.remainder <= bounds.remainder:
            return 0.0
        return min(0.8, 0.7 * self.lag_s * float(np.log(self.remainder / bounds.remainder)))


class ActivationTest:
    """Estimates and decides on the readings of one activation.

    `residual_warmth`: warmth at its start; `habits`: how the unit departs from a plain rise;
    `prior`: of the coefficients, vague where not given. Nothing else of other activations enters.
    """

    def __init__(
        self,
        question: Question,
        bounds: DecisionBounds,
        *,
        residual_warmth: ResidualWarmth = _RESTED,
        habits: Habits = _USUAL,
        prior: TransientPrior | None = None,
    ) -> None:
        self.question = question
        self.bounds = bounds
        self.value: Mixture | None = None
        """The latest estimate of the output at the age asked for, in the unit of the readings."""
        self.bends = False
        """Whether the latest readings contradict those about the age asked for; they are left out
        of `value` then."""
        self._whole: TransientEstimate | None = None
        """The fit that it was taken from."""
        self._residual_warmth = residual_warmth
        self._noise = NoisePrior(habits=habits)
        self._start: FitStart | None = None
        self._prior = prior or vague_prior(residual_warmth.largest_droop)
        self._limits = question.low, question.high
        self._hunts, self._rises_otherwise = habits.hunts, habits.rises_otherwise

    def quick_estimate(self, age_s: Floats, value: Floats) -> Estimate | None:
        """`estimate` without departures from the model, which takes half the time.

        It is too certain, so that a decision by it must be checked with `estimate`. For a unit
        known to rise in another shape the two are the same.
        """
        if self._rises_otherwise:
            return self.estimate(age_s, value)
        fit = self._fit(age_s, value, departures=False)
        return None if fit is None else self._estimate_of(fit, age_s[-1])

    def estimate(self, age_s: Floats, value: Floats) -> Estimate | None:
        """Estimate from all readings so far, shape (n,) each; None without output."""
        fit = self._fit(age_s, value, departures=True)
        if fit is None:
            return None
        estimate = self._estimate_of(fit, age_s[-1])
        until_s = self._read_until_s(fit)
        hunts = self._hunts or fit.shows_both_states
        later = age_s[-1] > until_s and not hunts
        self.bends = later and self._bends(fit, estimate, age_s, value)
        if self.bends:
            by_then = age_s <= until_s
            fit = self._fit(age_s[by_then], value[by_then], departures=True) or fit
            estimate = self._estimate_of(fit, until_s)
        self.value, self._whole = self.question.in_readings(estimate.value), fit
        return estimate

    def _read_until_s(self, fit: TransientEstimate) -> float:
        """Age up to which readings show the output about the age asked for, as they come late."""
        return self.question.at_age_s + fit.delay_s + 0.5 * self.question.window_s + ABOUT_S

    def _bends(
        self, fit: TransientEstimate, estimate: Estimate, age_s: Floats, value: Floats
    ) -> bool:
        """Whether the later readings are of another course, and say nothing of the age asked for.

        Of an output that had not risen by then nothing can be said.
        """
        until_s = self._read_until_s(fit)
        risen_s = max(fit.dead_time_s + _RISEN_LAGS * fit.lag_s, fit.swings_until_s)
        has_risen = until_s - 2 * ABOUT_S >= risen_s or sinks_about(age_s, value, until_s)
        found = self.question.in_readings(estimate.value)
        return has_risen and bends(age_s, value, until_s, found, fit.autocorrelation)

    @property
    def seen_habits(self) -> Habits | None:
        """How the unit departs by the latest estimate; None without one."""
        return None if self._whole is None else self._whole.habits

    @property
    def jumps(self) -> bool:
        """Whether so many readings jumped there and back that they decide nothing."""
        return self._whole is not None and self._whole.jumps

    @property
    def scatter(self) -> float:
        """Part of the standard deviation of `value` from the readings' noise alone."""
        return 0.0 if self._whole is None else self.question.target * self._whole.scatter

    @property
    def extrapolation(self) -> float:
        """Part of the standard deviation of `value` from what was not seen."""
        if self._whole is None:
            return 0.0
        unseen = float(np.hypot(self._whole.extrapolation, self._unsure()))
        return self.question.target * unseen

    def _unsure(self) -> float:
        """Standard uncertainty from model and residual warmth, relative to the target."""
        tolerance = self.question.tolerance / self.question.target
        return float(np.hypot(_MODEL * tolerance, self._residual_warmth.uncertainty))

    def _fit(self, age_s: Floats, value: Floats, *, departures: bool) -> TransientEstimate | None:
        record = self._record(age_s, value)
        fit = fit_transient(record, self._prior, self._noise, self._start, departures=departures)
        if fit is not None:
            self._start = fit.start
        return fit

    def _record(self, age_s: Floats, value: Floats) -> ActivationRecord:
        """The readings relative to the target, of an output that was only switched on."""
        steps, heat = Steps.switching_on(), self._residual_warmth.heat
        return ActivationRecord.of(self.question, age_s, value, steps, heat)

    def _estimate_of(self, fit: TransientEstimate, latest_s: float) -> Estimate:
        """The estimate by a fit to readings up to the age `latest_s`, the model itself unsure."""
        tolerance = self.question.tolerance / self.question.target
        level = fit.level(self._unsure())
        if self._hunts and not fit.shows_both_states:  # it may have stood still, off its mean
            habits, risen_s = self._noise.habits, latest_s - fit.dead_time_s - 2 * fit.lag_s
            level = level.doubted(habits.still_share(risen_s), habits.swing)
        if fit.arrival.off > 0:
            level = level.doubted(fit.arrival.may_return(latest_s), fit.arrival.off)
        return Estimate(
            level.rescaled(1.0, tolerance),
            fit.remainder / tolerance,
            fit.lag_s,
            *self._limits,
        )

    def outcome(self, age_s: Floats, value: Floats) -> TestOutcome:
        """Decision with departures from the model allowed for.

        An output that still rises is not decided to be in tolerance, nor too low.
        """
        estimate = self.estimate(age_s, value)
        if estimate is None:
            return "undecided"
        outcome = "undecided" if self.jumps else estimate.outcome(self.bounds)
        if outcome in ("in tolerance", "too low") and not self._has_arrived(age_s, value, estimate):
            return "undecided"
        if outcome == "in tolerance" and not self._was_in_tolerance(value):
            return "undecided"
        return outcome

    def _was_in_tolerance(self, value: Floats) -> bool:
        """Whether an output between two states was in tolerance, too, in the later readings, (n,).

        It may have been in one of them nearly all along.
        """
        if self._whole is None or not self._whole.shows_both_states:
            return True
        error = mean(value[value.size // 2 :]) - self.question.target
        low, high = self._limits
        return _WELL_INSIDE * low <= error / self.question.tolerance <= _WELL_INSIDE * high

    def _has_arrived(self, age_s: Floats, value: Floats, estimate: Estimate) -> bool:
        """Whether the latest readings neither rise on nor have risen above the upper limit.

        Allowed are the remainder of the lag, and any other rise that, in as long as it has lasted,
        adds no more than the remainder that the bounds allow. A value that readings have passed as
        they rise on is none of theirs, as where a filter averages; a swing may pass it.
        """
        question = self.question
        correlation = 0.0 if self._whole is None else self._whole.autocorrelation
        errors = (value - question.target) / question.tolerance
        latest = latest_readings(age_s, errors, correlation)
        if latest is None:
            return True
        expected = estimate.remainder / estimate.lag_s + self.bounds.remainder / float(age_s[-1])
        swings = self._whole is not None and self._whole.swings_until_s > 0
        if not swings and latest.rise_above(estimate.value.mean + estimate.value.sd):
            return False
        return not latest.rise_beyond(expected) and not latest.lie_above(estimate.high)


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
