"""One activation that may confirm: accept, refute, move once more, or go on watching.

The decision is `ActivationTest`'s, which knows this activation's own readings and nothing else.
What was learned before decides only how long it pays to wait for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from ohmwright.estimation.activation_record import CONFIDENCE, Question
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.prior import TransientPrior
from ohmwright.estimation.sequential_test import ActivationTest, Estimate
from ohmwright.estimation.thermal_droop import ResidualWarmth

from .activation_log import ActivationLog
from .confirmation_pool import pooled
from .parameters import Parameters

Outcome = Literal["continue", "accept", "refuted", "move on", "release"]
"""Take another reading; in tolerance; out of tolerance; adjust again now; rest and try again."""

_LOOK_AGAIN_S = 0.3
"""Time from a release that was called off to the first estimate of the confirmation."""


class Confirmation:
    """Watches one activation. `habits`: how the unit departs from a plain rise with droop.

    `improve_landing`: whether a value in tolerance that a move could bring much nearer to the
    target is moved rather than accepted; `earlier`: estimates, in tolerances, of the confirmations
    at this place of the trim that ended undecided, all of them.
    """

    def __init__(
        self,
        question: Question,
        parameters: Parameters,
        *,
        residual_warmth: ResidualWarmth,
        habits: Habits,
        improve_landing: bool = False,
        earlier: Sequence[Mixture] = (),
    ) -> None:
        confirming = parameters.confirming
        self._confirming, self._parameters = confirming, parameters
        self._bounds, self._earlier = confirming.bounds, earlier
        self._tolerance = question.tolerance / question.target
        self._question = question
        own_bounds = confirming.pooled_bounds if earlier else self._bounds
        self._test = ActivationTest(
            question, own_bounds, residual_warmth=residual_warmth, habits=habits
        )
        self._vain_after_s = (
            confirming.vain_where_it_hunts_s if habits.hunts else confirming.least_patience_s
        )
        self._next_estimate_s = 0.0
        self._moves_allowed = True
        self._sds: list[tuple[float, float]] = []
        """How sure the value was, in tolerances, after it had been watched for so long, in s."""
        self._improve_landing = improve_landing

    @property
    def value(self) -> Mixture | None:
        """The latest estimate of the output, pooled, in the unit of the readings."""
        own = self.own_estimate
        if own is None or not self._earlier:
            return self._test.value
        return self._question.in_readings(pooled([*self._earlier, own]))

    @property
    def own_estimate(self) -> Mixture | None:
        """The latest estimate by this activation alone, in tolerances from the target."""
        value = self._test.value
        return None if value is None else self._question.in_tolerances(value)

    @property
    def seen_habits(self) -> Habits | None:
        """How the unit departs from a plain rise with droop by this activation."""
        return self._test.seen_habits

    @property
    def bends(self) -> bool:
        """Whether the later readings contradict those about the age asked for."""
        return self._test.bends

    def estimate_with_departures(self, log: ActivationLog) -> Mixture | None:
        """Estimate by this activation alone with departures allowed for, in tolerances."""
        estimate = self._test.estimate(*log.readings)
        return None if estimate is None else estimate.value

    def rule_out_moves(self, age_s: float) -> None:
        """Watch to the end whatever the value: no move could bring the output nearer."""
        self._moves_allowed = False
        self._next_estimate_s = age_s + _LOOK_AGAIN_S

    def outcome(
        self, log: ActivationLog, prior: TransientPrior, age_s: float, *, late: bool
    ) -> Outcome:
        """What the readings up to `age_s` call for; `late`: the activation must end now.

        `prior`: what is known of the unit, by which the cost of waiting and moving is judged.
        """
        if age_s < self._next_estimate_s and not late:
            return "continue"
        estimate = self._test.quick_estimate(*log.readings)
        watched_s = age_s - prior.dead_time_s - 5 * prior.lag_s
        outcome: Outcome = "continue"
        if estimate is not None:
            outcome = self._outcome_of(self._pooled(estimate), log, prior, age_s, watched_s)
        too_long = watched_s > self._confirming.longest_patience_s
        return "release" if outcome == "continue" and (late or too_long) else outcome

    def _outcome_of(
        self,
        estimate: Estimate,
        log: ActivationLog,
        prior: TransientPrior,
        age_s: float,
        watched_s: float,
    ) -> Outcome:
        """What an estimate calls for; `watched_s`: time since the lag had gone by the prior."""
        if estimate.outcome(self._bounds) == "undecided":
            if self._departures_may_explain(estimate, watched_s):
                return self._outcome_with_departures(estimate, log, prior, watched_s)
            self._next_estimate_s = age_s + estimate.wait_s(self._bounds)
            return self._outcome_in_doubt(estimate, log, prior, watched_s)
        return self._outcome_with_departures(estimate, log, prior, watched_s)

    def _outcome_in_doubt(
        self, estimate: Estimate, log: ActivationLog, prior: TransientPrior, watched_s: float
    ) -> Outcome:
        """What an `estimate` without a decision calls for."""
        in_vain = self._is_in_vain(estimate, watched_s)
        move_is_sooner = self._move_is_sooner(estimate, prior, watched_s)
        if not (in_vain or move_is_sooner):
            return "continue"
        whole = self.estimate_with_departures(log)
        if in_vain and self.would_pass_centred(prior):
            return "release"
        return "move on" if move_is_sooner and self._error_is_seen(whole) else "continue"

    def _outcome_with_departures(
        self, estimate: Estimate, log: ActivationLog, prior: TransientPrior, watched_s: float
    ) -> Outcome:
        """What the whole estimate calls for, where the quick `estimate` decides or hardly can."""
        decision = self._test.outcome(*log.readings)
        if decision in ("too low", "too high") and self._tells_a_move(self.own_estimate):
            return "refuted"
        if decision == "in tolerance" and self._pool_agrees() and self._statement_agrees():
            return "move on" if self._landing_is_poor(estimate, prior) else "accept"
        if self._is_in_vain(estimate, watched_s) and self.would_pass_centred(prior):
            return "release"
        if not self._in_doubt_too_long(estimate, prior, watched_s):
            return "continue"
        return "move on" if self._error_is_seen(self.own_estimate) else "continue"

    def would_pass_centred(self, prior: TransientPrior) -> bool:
        """Whether a value as unsure as this one would be accepted nearer to the target.

        That holds also where a move by so little is as likely for the worse: an uncertainty that
        all activations have in common is then spread evenly about the target.
        """
        value = self.value
        if value is None:
            return False
        here = self._question.in_tolerances(value)
        off = self._error_after_move(abs(here.mean), prior)
        if off is None or off > abs(here.mean) - self._confirming.improvement_tolerances:
            return False
        centred = replace(here.as_stated, centre=np.array([off]))
        allowed = 1 - self._bounds.inside
        doubt = self._confirming.centring_doubt * allowed
        return 1 - _inside(here) > doubt and 1 - _inside(centred) <= allowed

    def _is_in_vain(self, estimate: Estimate, watched_s: float) -> bool:
        """Whether more readings have not made the value any surer for a while, its lag being gone.

        Notes the estimate, with the time for which it has been watched.
        """
        if estimate.remainder > 0.5 * self._bounds.remainder:
            return False
        sd, long_ago_s = estimate.value.sd, watched_s - self._vain_after_s
        before = [earlier for at_s, earlier in self._sds if at_s <= long_ago_s]
        self._sds.append((watched_s, sd))
        return bool(before) and sd > self._confirming.narrowing * min(before)

    def _tells_a_move(self, own: Mixture | None) -> bool:
        """Whether a value is known well enough for a move by it to land near the target."""
        return own is not None and own.sd < self._confirming.refuting_sd_tolerances

    def _pooled(self, estimate: Estimate) -> Estimate:
        """The estimate with those of earlier confirmations at this place."""
        if not self._earlier:
            return estimate
        return replace(estimate, value=pooled([*self._earlier, estimate.value]))

    def _pool_agrees(self) -> bool:
        """Whether the estimates at this place, pooled, allow to accept what this activation shows.

        The present activation must have said so by itself, if less surely.
        """
        own = self.own_estimate
        if own is None or not self._earlier:
            return own is not None
        return _inside(pooled([*self._earlier, own])) >= self._bounds.inside

    def _statement_agrees(self) -> bool:
        """Whether the value and uncertainty that would be stated lie within the limits, too.

        A part of the estimate far away, of little weight, may make that uncertainty large: more
        readings, or another confirmation, are sooner there than a verdict.
        """
        value = self.value
        if value is None:
            return False
        stated = self._question.in_tolerances(value).as_stated
        too_low, too_high = stated.probability_below(-1.0), 1 - stated.probability_below(1.0)
        return max(too_low, too_high) <= 1 - CONFIDENCE

    def _landing_is_poor(self, estimate: Estimate, prior: TransientPrior) -> bool:
        """Whether a value in tolerance is far off the target and a move would bring it nearer."""
        error = abs(estimate.value.mean)
        if not self._improve_landing or not self._moves_allowed:
            return False
        far = error > self._confirming.well_landed_tolerances
        return far and self._move_brings_nearer(error, prior)

    def _departures_may_explain(self, estimate: Estimate, watched_s: float) -> bool:
        """Whether a value likely in tolerance, its lag gone, is undecided by departures alone."""
        lag_left = estimate.remainder > 0.5 * self._bounds.remainder
        if lag_left or estimate.probability_in_tolerance < 0.97:
            return False
        return watched_s > self._confirming.least_patience_s

    def _move_is_sooner(self, estimate: Estimate, prior: TransientPrior, watched_s: float) -> bool:
        """Whether to move and confirm anew is likely to be quicker than to watch on."""
        if not self._move_would_help(estimate, prior):
            return False
        value = estimate.value
        unlikely = 1 - abs(value.mean) < self._confirming.unlikely_sds * value.sd
        return unlikely or watched_s > self._patience_s(prior)

    def _error_is_seen(self, whole: Mixture | None) -> bool:
        """Whether the error is larger than its uncertainty; `whole`: with departures allowed for.

        A move by less would be as likely for the worse as for the better, and so would one by an
        error that is hardly known.
        """
        if whole is None or not self._tells_a_move(whole):
            return False
        value = pooled([*self._earlier, whole]) if self._earlier else whole
        return abs(value.mean) > self._parameters.moving.least_error_sds * value.sd

    def _in_doubt_too_long(
        self, estimate: Estimate, prior: TransientPrior, watched_s: float
    ) -> bool:
        """Whether to move where hunting alone has prevented acceptance for long."""
        long_s = self._confirming.patience_in_doubt * self._patience_s(prior)
        return watched_s > long_s and self._move_would_help(estimate, prior)

    def _move_would_help(self, estimate: Estimate, prior: TransientPrior) -> bool:
        """Whether the lag has gone and a move would bring the output clearly nearer."""
        if not self._moves_allowed or estimate.remainder > self._bounds.remainder:
            return False
        return self._move_brings_nearer(abs(estimate.value.mean), prior)

    def _move_brings_nearer(self, error: float, prior: TransientPrior) -> bool:
        """Whether a whole number of counts would make `error`, in tolerances, clearly smaller."""
        error_after = self._error_after_move(error, prior)
        if error_after is None:
            return error > self._parameters.releasing.inner_tolerances
        return error_after < error - self._confirming.improvement_tolerances

    def _error_after_move(self, error: float, prior: TransientPrior) -> float | None:
        """What a move by whole counts would leave of `error`, both in tolerances.

        None while it is not known what the trim does.
        """
        gain = prior.known_gain(self._parameters.moving.gain_sds)
        if gain is None:
            return None
        by_count = abs(gain) / self._tolerance
        return abs(error - by_count * round(error / by_count))

    def _patience_s(self, prior: TransientPrior) -> float:
        """Time that watching may take: as long as another confirmation would."""
        again_s = 2 * prior.dead_time_s + 8 * prior.lag_s
        return max(self._confirming.least_patience_s, self._confirming.patience * again_s)


def _inside(value: Mixture) -> float:
    """Probability that a value, in tolerances from the target, lies in tolerance."""
    return value.probability_between(-1.0, 1.0)
