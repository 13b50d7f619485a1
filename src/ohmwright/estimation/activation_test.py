"""Whether the output is in tolerance, decided on the readings of one rested activation alone.

The transient model decides soonest. A decision counts only if it stands when hunting is allowed for
and if the exponential tail, which knows nothing of dead time and windows, does not contradict it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .coefficients import Coefficient
from .exponential_tail import fit_tail
from .mixture import Mixture
from .point import Question
from .prior import NoisePrior, TransientPrior, vague_prior
from .sequential_test import DecisionBounds, Estimate, TestOutcome
from .step_response import Steps
from .thermal_droop import ResidualWarmth
from .transient_estimate import ActivationRecord, FitStart, TransientEstimate
from .transient_estimator import fit_transient

Floats = NDArray[np.float64]

_MODEL = 0.05
"""What the model itself may be wrong by, in tolerances."""
_UNSEEN = 0.08
"""What the extrapolation of the lag may be wrong by, relative to the lag still to come."""
_TAIL_AGREES_SDS, _TAIL_AGREES_TOLERANCES = 2.5, 0.1
"""The tail's level may lie so many of its standard deviations, and tolerances, off the estimate."""
_RESTED = ResidualWarmth()


class ActivationTest:
    """Estimates and decides on the readings of one activation.

    `residual_warmth`: warmth at its start; `hunting`: probability that the unit hunts; `prior`: of
    the coefficients, vague where not given. Nothing of other activations enters but by these.
    """

    def __init__(
        self,
        question: Question,
        bounds: DecisionBounds,
        *,
        residual_warmth: ResidualWarmth = _RESTED,
        hunting: float = 0.05,
        prior: TransientPrior | None = None,
    ) -> None:
        self.question = question
        self.bounds = bounds
        self.value: Mixture | None = None
        """The latest estimate of the output at the age asked for, in the unit of the readings."""
        self._residual_warmth = residual_warmth
        self._noise = NoisePrior(hunting=hunting)
        self._start: FitStart | None = None
        self._prior = prior or vague_prior()

    def estimate(self, age_s: Floats, value: Floats, *, hunting: bool = False) -> Estimate | None:
        """Estimate from all readings so far, ages and values of shape (n,); None without output.

        `hunting`: allow for slow swings of the output.
        """
        record = self._record(age_s, value)
        fit = fit_transient(record, self._prior, self._noise, self._start, hunting=hunting)
        if fit is None:
            return None
        self._start = fit.start
        return self._in_tolerances(fit)

    def _record(self, age_s: Floats, value: Floats) -> ActivationRecord:
        """The readings relative to the target, of an output that was only switched on."""
        question = self.question
        return ActivationRecord(
            age_s=age_s,
            relative=value / question.target,
            steps=Steps.switching_on(),
            window_s=question.window_s,
            resolution=question.resolution / question.target,
            at_age_s=question.at_age_s,
            heat=self._residual_warmth.heat,
        )

    def _in_tolerances(self, fit: TransientEstimate) -> Estimate:
        """The level with what the model leaves unsure; kept as `value` in the readings' unit."""
        question, warmth = self.question, self._residual_warmth.uncertainty
        tolerance = question.tolerance / question.target
        unsure = [_MODEL * tolerance, _UNSEEN * fit.remainder, warmth]
        level = fit.coefficient(Coefficient.LEVEL).widened(1.0, float(np.linalg.norm(unsure)))
        self.value = level.rescaled(0.0, 1 / question.target)
        return Estimate(
            level.rescaled(1.0, tolerance),
            fit.remainder / tolerance,
            fit.lag_s,
            question.low,
            question.high,
        )

    def outcome(self, age_s: Floats, value: Floats) -> TestOutcome:
        """Decision that allows for hunting and agrees with the exponential tail, else undecided."""
        estimate = self.estimate(age_s, value, hunting=True)
        if estimate is None:
            return "undecided"
        outcome = estimate.outcome(self.bounds)
        if outcome == "undecided" or not self._tail_agrees(age_s, value, estimate):
            return "undecided"
        return outcome

    def _tail_agrees(self, age_s: Floats, value: Floats, estimate: Estimate) -> bool:
        """Whether the level of the exponential tail lies near the estimate."""
        question = self.question
        tail = fit_tail(
            age_s,
            value,
            at_age_s=question.at_age_s,
            window_s=question.window_s,
            resolution=question.resolution,
            heat=self._residual_warmth.heat,
        )
        if tail is None:
            return False
        level = tail.value.rescaled(question.target, question.tolerance)
        allowed = _TAIL_AGREES_SDS * level.sd + _TAIL_AGREES_TOLERANCES
        return abs(level.mean - estimate.value.mean) <= allowed


_LOOK_EVERY_S = 0.2


_VERIFICATION = DecisionBounds(inside=0.9955, outside=0.9955, remainder=3.0)
"""A clear case need not wait for the last of the lag, so long as it is allowed for."""


_SETTLED = 0.6
"""Lag still to come, in tolerances, that a value may be stated with."""
_LEVEL_SD = 0.5
"""A unit as found may be far off, and a leakage far below its limit."""


class VerificationTest:
    """Decides a verification point as soon as the probability is enough and the value sure enough.

    Feed `read`; it answers "undecided" until there is an answer. `value` is the estimate
    then, a Mixture in the unit of the readings with `mean`, `sd` and `dof`.

    `precision`: largest standard uncertainty of a value that is to be stated, in the unit of the
    readings; it is waited for no longer than to twice the age asked for.
    """

    def __init__(
        self,
        question: Question,
        *,
        left: ResidualWarmth = _RESTED,
        precision: float = float("inf"),
    ) -> None:
        prior = vague_prior().with_coefficient(Coefficient.LEVEL, 1.0, _LEVEL_SD)
        self._test = ActivationTest(question, _VERIFICATION, residual_warmth=left, prior=prior)
        self._precision = precision
        self._age: list[float] = []
        self._value: list[float] = []
        self._next_look_s = 0.0
        self._remainder = float("inf")

    @property
    def value(self) -> Mixture | None:
        """The latest estimate at the age asked for."""
        return self._test.value

    @property
    def settled(self) -> bool:
        """Whether the lag is next to gone, so that the estimate leans on little that is unseen."""
        return self._remainder <= _SETTLED

    def read(self, age_s: float, value: float) -> TestOutcome:
        """Take one reading and decide if that is possible."""
        self._age.append(age_s)
        self._value.append(value)
        if age_s < self._next_look_s:
            return "undecided"
        ages, values = np.array(self._age), np.array(self._value)
        estimate = self._test.estimate(ages, values)
        if estimate is None:
            return "undecided"
        self._remainder = estimate.remainder
        bounds = self._test.bounds
        self._next_look_s = age_s + max(_LOOK_EVERY_S, estimate.wait_s(bounds))
        if estimate.outcome(bounds) == "undecided" or self._too_vague(age_s):
            return "undecided"
        return self._test.outcome(ages, values)

    def _too_vague(self, age_s: float) -> bool:
        value, patient = self.value, age_s < 2 * self._test.question.at_age_s
        return patient and value is not None and value.sd > self._precision
