"""Stop rules: they end an activation when a value has settled, or when its verdict is known.

Where a person keys RF or looks at the meter, ages are inexact: the output droops while RF is on, so
that a value at a stated age is off by the droop within the time by which its readings' ages may be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import hypot, inf, sqrt

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.activation_record import Prospect, Question
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.prior import vague_prior
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds
from ohmwright.estimation.settled_value import JUMPS, Settled, settled_value
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.instruments.bench import Bench
from ohmwright.uncertainty.inputs import resolution_uncertainty

from .sampling import StandingFigure

Floats = NDArray[np.float64]

_TEST_EVERY_S = 0.5
"""Time between two tests whether a value has settled."""
_TEST_AGAIN_S, _TEST_AT_LAST_S = 0.2, 0.8
"""Shortest and longest time between two tests whether a target is decided."""
_ROUNDING_S = 1e-6
"""By so much an age may lie before the time of a test: which reading is tested is no rounding's."""
_DECISIVE_SDS = 2.6
"""Standard deviations from a value to the nearest limit with which it is decided."""
_NARROWING = 1.5
"""Power of the age with which a standard deviation falls where it falls quickly."""
_BOUNDS = DecisionBounds(inside=0.99, outside=0.99, remainder=3.0)
"""Confidence that decides, and the largest remainder of the lag, in tolerances, that it allows.

A clear case need not wait for the end of the lag: the remainder is part of the uncertainty.
"""
_REMAINDER_TOLERANCES = 0.6
"""Largest remainder of the lag, in tolerances, of an undecided value that counts as settled."""
_LEVEL_SD = 0.5
"""Prior standard deviation of the level over the target: a unit as found may be far off."""
_PRECISION, _RELATIVE_PRECISION = 0.18, 0.01
"""Standard uncertainty of a decided value, over tolerance and over target: the smaller counts."""
_WAIT_AGES = 1.5
"""How long precision is waited for, in multiples of the age asked for."""
STANDS = "the meter shows one figure again and again"
_USUAL_DROOP_PER_S = 0.015 / 6.0
"""Largest relative loss in a second, where the data state none; common practice, no source."""


class UntilSettled:
    """Stop rule without a target: the value has settled, no earlier than the age asked for.

    `at_age_s`: that age; `window_s`, `resolution_ma`: the meter's averaging time and last digit;
    `warmth`: of the start, whose uncertainty is part of the value's.
    """

    def __init__(
        self, at_age_s: float, window_s: float, resolution_ma: float, warmth: ResidualWarmth
    ) -> None:
        self._at_age_s, self._window_s, self._resolution_ma = at_age_s, window_s, resolution_ma
        self._warmth = warmth
        self._figure = StandingFigure(resolution_ma)
        self._age_s: list[float] = []
        self._current_ma: list[float] = []
        self._found: Settled | None = None
        """The value by all readings so far, once somebody has asked for it."""
        self._next_test_s = at_age_s

    def read(self, age_s: float, current_ma: float) -> bool:
        """Take a reading; return True when the value has settled, tested every half second."""
        self.add_reading(age_s, current_ma)
        if age_s < self._next_test_s - _ROUNDING_S:
            return False
        self._next_test_s = age_s + _TEST_EVERY_S
        settled = self.settled()
        return settled is not None and settled.settled

    def add_reading(self, age_s: float, current_ma: float) -> None:
        """Take a reading without testing whether the value has settled."""
        self._age_s.append(age_s)
        self._current_ma.append(current_ma)
        self._figure.note(age_s, current_ma)
        self._found = None

    @property
    def readings(self) -> tuple[Floats, Floats]:
        """Ages in s and currents in mA of the readings that count, shape (n,) each.

        A figure that was repeated while the meter stood still counts when it was read first.
        """
        counts = np.array(self._figure.counts, dtype=np.bool_)
        return np.array(self._age_s)[counts], np.array(self._current_ma)[counts]

    @property
    def stands_still(self) -> bool:
        """Whether the meter may stand still now."""
        return self._figure.stands

    def settled(self) -> Settled | None:
        """Return the value by the readings so far, in mA; None before the first reading."""
        if self._found is None and self._age_s:
            self._found = self._settled()
        return self._found

    def _settled(self) -> Settled:
        found = settled_value(
            *self.readings,
            at_age_s=self._at_age_s,
            window_s=self._window_s,
            resolution=self._resolution_ma,
            largest_droop=self._warmth.largest_droop,
        )
        warmth = self._warmth.uncertainty * found.value
        found = replace(found, uncertainty=hypot(found.uncertainty, warmth))
        return replace(found, settled=False, reason=STANDS) if self.stands_still else found


class UntilDecided:
    """Stop rule with a target: the point's verdict is known.

    A verification point is decided here and nowhere else. All of this must hold, cheap tests first:
    the sequential test knows on which side of each limit the value lies; the value is precise
    enough to be stated, which is waited for for a while; both still hold with departures from the
    model allowed for; and `is_final`, which is the
    decision rule's part: the value passes, fails, or more readings could not change that. A value
    within the limits must have been seen there; one below them lacks more than is still to come.
    It is left undecided early where a `prospect` is given and nothing more is to be expected.
    """

    def __init__(
        self,
        asked: Question,
        warmth: ResidualWarmth,
        is_final: Callable[[Settled], bool],
        precision_ma: float | None = None,
        prospect: Prospect | None = None,
    ) -> None:
        """`precision_ma`: standard uncertainty to wait for; None: that of `precise_enough_ma`."""
        prior = vague_prior(warmth.largest_droop)
        prior = prior.with_coefficient(Coefficient.LEVEL, 1.0, _LEVEL_SD)
        self._test = ActivationTest(asked, _BOUNDS, residual_warmth=warmth, prior=prior)
        self._asked = asked
        self._precision_ma = precise_enough_ma(asked) if precision_ma is None else precision_ma
        self._wait_until_s = _WAIT_AGES * asked.at_age_s
        self._is_final = is_final
        self._until_settled = UntilSettled(asked.at_age_s, asked.window_s, asked.resolution, warmth)
        self._next_test_s, self._tested_s = 0.0, -inf
        self._remainder = inf
        self._decided = self._in_vain = False
        self._prospect = prospect

    def add_reading(self, age_s: float, current_ma: float) -> None:
        """Take a reading without testing whether the verdict is known."""
        self._until_settled.add_reading(age_s, current_ma)

    def read(self, age_s: float, current_ma: float) -> bool:
        """Take a reading; return True when the verdict is known, or will not be."""
        self.add_reading(age_s, current_ma)
        if age_s >= self._next_test_s - _ROUNDING_S:
            self._decided = self._is_decided(age_s, *self._until_settled.readings)
        return self._decided or self._in_vain

    def _is_decided(self, age_s: float, ages_s: Floats, currents_ma: Floats) -> bool:
        """Test the readings so far, and set the age of the next test."""
        self._tested_s = age_s
        estimate = self._test.quick_estimate(ages_s, currents_ma)
        if estimate is None:
            return False
        self._remainder = estimate.remainder
        value = self._asked.in_readings(estimate.value)
        self._test_again(age_s, value, at_least_s=estimate.wait_s(_BOUNDS))
        self._in_vain = self._is_in_vain(age_s, value)
        if estimate.outcome(_BOUNDS) == "undecided" or not self._is_precise(value, age_s):
            return False
        if self._until_settled.stands_still:
            return False
        outcome, value_then = self._test.outcome(ages_s, currents_ma), self._test.value
        if value_then is None:
            return False
        self._test_again(age_s, value_then)
        if outcome == "undecided" or not self._is_precise(value_then, age_s):
            return False
        if outcome == "in tolerance" and not self._was_seen_inside(currents_ma):
            return False
        if outcome == "too low" and self._may_rise_inside(value_then):
            return False
        return self._is_final(settled_of(self._test, value_then))

    def _was_seen_inside(self, currents_ma: Floats) -> bool:
        """Whether any reading lay within the limits: no extrapolation alone passes a unit."""
        errors = (currents_ma - self._asked.target) / self._asked.tolerance
        return bool(np.any((errors >= self._asked.low) & (errors <= self._asked.high)))

    def _may_rise_inside(self, value: Mixture) -> bool:
        """Whether more is still to come of the rise than `value` lacks: no fail rests on that."""
        lacks = self._asked.low - self._asked.in_tolerances(value).mean
        return self._remainder > lacks

    def _is_precise(self, value: Mixture, age_s: float) -> bool:
        """Whether `value` is precise enough to be stated, or was waited for long enough."""
        return value.sd <= self._precision_ma or age_s >= self._wait_until_s

    def _test_again(self, age_s: float, value: Mixture, at_least_s: float = _TEST_AGAIN_S) -> None:
        """Set the age of the next test to when `value` may be certain enough to decide."""
        error, nearest = self._from_limit(value)
        wanted = min(self._precision_ma / self._asked.tolerance, nearest / _DECISIVE_SDS)
        narrower = max(1.0, error.sd / max(wanted, 1e-9)) ** (1 / _NARROWING)
        wait_s = max(_TEST_AGAIN_S, at_least_s, age_s * (narrower - 1))
        self._next_test_s = age_s + min(_TEST_AT_LAST_S, wait_s)

    def _from_limit(self, value: Mixture) -> tuple[Mixture, float]:
        """The error of `value` and its distance from the nearest limit, in tolerances."""
        error, asked = self._asked.in_tolerances(value), self._asked
        return error, min(abs(error.mean - asked.low), abs(error.mean - asked.high))

    def _is_in_vain(self, age_s: float, value: Mixture) -> bool:
        """Whether the value has come, and more readings would hardly take it from its limit."""
        if self._prospect is None:
            return False
        error, nearest = self._from_limit(value)
        in_vain = self._prospect.is_in_vain(age_s, nearest, error.sd)
        return in_vain and self._why_undecided() == "" and age_s >= self._asked.at_age_s

    def settled(self) -> Settled | None:
        """Return the estimate by the readings so far, in mA; None before the first reading.

        With hardly any output the test has no estimate, and the settled value is returned.
        """
        readings = self._until_settled.readings
        latest_s = float(readings[0][-1]) if readings[0].size else -inf
        if not self._decided and latest_s > self._tested_s:  # the next test was not due yet
            self._decided = self._is_decided(latest_s, *readings)
        if not self._decided:
            self._test.estimate(*readings)
        value = self._test.value
        if value is None:
            return self._until_settled.settled()
        return settled_of(self._test, value, "" if self._decided else self._why_undecided())

    def _why_undecided(self) -> str:
        """Why the latest value is not settled; empty where it is."""
        if self._test.jumps:
            return JUMPS
        if self._until_settled.stands_still:
            return STANDS
        settled = self._remainder <= _REMAINDER_TOLERANCES
        return "" if settled else "the output is still rising or falling"


def precise_enough_ma(asked: Question) -> float:
    """Return the standard uncertainty, in mA, at which a decided value is precise enough."""
    return min(_PRECISION * asked.tolerance, _RELATIVE_PRECISION * asked.target)


def settled_of(test: ActivationTest, value: Mixture, reason: str = "") -> Settled:
    """Return a test's latest value, in the readings' unit; `reason`: why it has not settled."""
    return Settled(
        value.mean,
        value.sd,
        value.dof,
        0.0,
        reason == "",
        reason,
        scatter=test.scatter,
        extrapolation=test.extrapolation,
    )


def dated(settled: Settled, bench: Bench) -> Settled:
    """Return `settled` with the uncertainty from a person's timing and from coarse typed digits."""
    analyzer = bench.analyzer
    if not analyzer.released_by_hand:
        return settled
    off_ma = abs(settled.value) * _droop_per_s(bench) * analyzer.dating_s
    dating_ma = off_ma / sqrt(3)  # rectangular distribution
    digit_ma = resolution_uncertainty(analyzer.digit_ma)
    scatter_ma = settled.uncertainty if settled.scatter is None else settled.scatter
    coarser_ma = sqrt(max(0.0, digit_ma**2 - scatter_ma**2))
    return replace(
        settled,
        uncertainty=hypot(settled.uncertainty, coarser_ma, dating_ma),
        scatter=hypot(scatter_ma, coarser_ma),
        dating=dating_ma,
    )


def _droop_per_s(bench: Bench) -> float:
    """Return the most that the output may lose in a second, relative: at the very beginning."""
    droop = bench.generator.data.droop
    return _USUAL_DROOP_PER_S if droop is None else droop.largest / min(droop.tau_s)
