"""The policy that adjusts one point: asked what to do next, and told what came of it.

It knows no clock and no port. One activation follows another: estimate while the output rises,
probe as soon as the level is known well enough for the probe to show, move towards the target as
the gain becomes known, release once the output will probably be well in tolerance, rest, and
confirm on the confirmation's own readings.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ohmwright.adjustment.point import PointSpec
from ohmwright.estimation.thermal_droop import ResidualWarmth, cooled, heated

from .action_queue import ActionQueue
from .actions import Action, Activate, Finish, Press, Release, TakeReading
from .activation_log import ActivationLog
from .cause import why_undecided
from .confirmation import Confirmation
from .decision import (
    NO_EFFECT,
    NO_MODEL,
    RUN_AWAY,
    WITHOUT_EFFECT,
    AdjustmentDecider,
    moved_without_effect,
)
from .evidence import evidence
from .findings import Findings
from .first_move import first_move
from .fleet_prior import FleetPrior, Learned
from .parameters import Parameters
from .presses_with_rf_off import PressesWithRfOff
from .rf_budget import RfBudget
from .step_sizing import StepSizer
from .trim import Trim
from .unit_estimator import UnitEstimator

Floats = NDArray[np.float64]


class AdjustPolicy:
    """Adjusts one point: ask `next_action`, carry it out, and report what happened.

    `prior`: what earlier units of the model taught of the point.
    """

    def __init__(
        self,
        spec: PointSpec,
        prior: FleetPrior | None = None,
        parameters: Parameters | None = None,
    ) -> None:
        self.spec = spec
        self.parameters = parameters or Parameters()
        self.trim = Trim(spec.keys)
        self.sizer = StepSizer(spec, self.parameters, self.trim)
        self.estimator = UnitEstimator(spec, self.parameters, self.sizer, prior or FleetPrior())
        self.findings = Findings(self.parameters.prior_checks, self.sizer, self.estimator)
        self._presses = PressesWithRfOff(
            spec, self.parameters, self.trim, self.sizer, self.estimator, self.findings
        )
        self._decider = AdjustmentDecider(self.parameters, self.trim, self.sizer, self.estimator)
        self._queue = ActionQueue(spec, self.trim)
        self._end: Finish | None = None
        self._rf_on = self._release_asked = False
        self._budget = RfBudget(self.parameters.giving_up, spec.timeout_s)
        self._heat = 0.0
        self._residual_warmth = ResidualWarmth()
        self._to_confirm = self._refuted = False
        """Whether the next activation may confirm; whether the latest confirmation was refuted."""
        self._confirms_start = False
        """Whether the output is confirmed where the trim began, as its moves had no effect."""
        self._was_to_confirm = False
        """Whether the present activation confirms, or did before that was refuted."""
        self._confirmation: Confirmation | None = None
        self._presses_due = 0
        if spec.expected is not None:
            move, self._to_confirm = first_move(
                spec.expected, self.estimator, self.sizer, self._decider.chooser
            )
            if move is not None:
                self._queue.move([move], rf_on=False)

    # reports of what happened

    def activated(self, residual_warmth: ResidualWarmth | None = None) -> None:
        """RF is on. `residual_warmth`: of the unit, taken from the rests so far where not given."""
        self._rf_on, self._release_asked = True, False
        self._presses_due = 0
        self._budget.note_begun()
        self._residual_warmth = (
            ResidualWarmth(self._heat) if residual_warmth is None else residual_warmth
        )
        self._heat = self._residual_warmth.heat
        self.estimator.move_origin()
        if self.trim.moves > 0:
            self.findings.note_predicted()
        self.findings.warmth_uncertainty = self._residual_warmth.uncertainty
        self.log = ActivationLog(self.spec.question, self.trim.position(), self._heat)
        self.estimator.begin_activation(self.log)
        self.sizer.look.begin_activation(self.log, self.trim.counts)
        self._decided_s = 0.0
        if self._to_confirm and self._is_too_warm:
            self._budget.note_last_activation()
        self._confirmation = self._new_confirmation() if self._to_confirm else None
        if self._confirmation is not None and self._confirms_start:
            self._confirmation.rule_out_moves(0.0)
        self._was_to_confirm = self._to_confirm

    def read(self, age_s: float, value: float) -> None:
        """The meter showed `value`, the mean over its window that ended at `age_s`."""
        self.log.note_reading(age_s, value)
        busy = self._queue or self._presses_due > 0
        if age_s - self._decided_s >= self.parameters.moving.decide_every_s and not busy:
            self._decided_s = age_s
            self._respond(age_s)

    def moved(self, age_s: float, counts: int) -> None:
        """The trim moved by `counts`; `age_s` is without meaning with RF off."""
        before = self.trim.position()
        self.trim.note_moved(counts)
        self.findings.note_moved(counts)
        self._note_step(age_s, before)

    def pressed(self, age_s: float, key: str, times: int) -> None:
        """A key was pressed `times` times; `age_s` is without meaning with RF off."""
        before = self.trim.position()
        counts = self.trim.counts
        self._presses_due -= abs(times)
        self.trim.note_pressed(key, times)
        self.findings.note_moved(self.trim.counts - counts)
        self._note_step(age_s, before)

    def presses_over(self) -> None:
        """No more presses come of those asked for last: decide again from the next reading on."""
        self._presses_due = 0

    def released(self, on_s: float, *, timed_out: bool = False, let_go: bool = False) -> None:
        """RF went off after `on_s`. Unasked, that drops what was decided on, and a rest follows.

        `timed_out`: the service mode ended by itself. Nothing is learned from such an activation
        but when it ended: the next one is left in time. `let_go`: a foot switch was; that tells
        not even this.
        """
        lost = timed_out or let_go
        self._rf_on = False
        if not self._release_asked:
            self._queue.drop_all_and_rest()
            self.sizer.probes = 0
        self._heat = heated(self._heat, on_s)
        self.sizer.look.end_activation(timed_out=lost)
        self._budget.note_ended(on_s, self.log.latest_s, timed_out=timed_out)
        if not lost:
            self.findings.note_places(self.log, self._confirmation)
            self.estimator.end_activation()
            if self._confirmation is not None:
                self.estimator.note_habits(self._confirmation.seen_habits)

    def rested(self, rest_s: float) -> None:
        """RF was off for `rest_s`."""
        self._heat = cooled(self._heat, rest_s)

    # what is asked of the policy

    def learned(self) -> Learned | None:
        """What this unit teaches of its model; None if its trim was not moved or had no effect."""
        return None if self.trim.moves == 0 else self.estimator.learned()

    @property
    def to_confirm(self) -> bool:
        """Whether the next activation may confirm, and so must be a rested one."""
        return self._to_confirm

    @property
    def end(self) -> Finish | None:
        """How the adjustment ends, None before that is known.

        After it no activation follows: what is still asked for puts the trim in its place.
        """
        return self._end

    def decide_anew(self) -> None:
        """Drop what was decided on and not done yet: earlier presses were only now seen."""
        self._queue.drop_all()
        self._presses_due = 0

    def note_other_presses(self) -> None:
        """The trim stood elsewhere than was believed, which explains the output now."""
        self.findings.forget_surprise()
        self.estimator.forget_level()

    def put_back(self) -> None:
        """The trim was put back to its start otherwise than by the moves that are asked for."""
        self._queue.drop_all()

    def next_action(self) -> Action:
        """What to do now."""
        if not self._rf_on and self._end is None and self._budget.exhausted:
            self._queue.drop_all()  # no activation would show what they do
            self._give_up("undecided", self._why_undecided())
        if self._queue:
            action = self._queue.pop()
            self._presses_due = abs(action.times) if isinstance(action, Press) else 0
            self._release_asked = self._release_asked or isinstance(action, Release)
            return action
        if self._rf_on:
            return TakeReading()
        return Activate() if self._end is None else self._end

    # what follows from a reading

    def _note_step(self, age_s: float, before: Floats) -> None:
        """Log the change of the trim's position since `before`, if RF is on."""
        if self._rf_on:
            self.log.note_step(age_s, self.trim.position() - before)

    def _respond(self, age_s: float) -> None:
        """Confirm or adjust on the readings up to `age_s`."""
        margin_s = self._timeout_margin_s
        confirming = self._confirmation is not None
        late = self._budget.must_end(age_s, margin_s, confirming=confirming)
        if self._confirmation is None:
            self._adjust(age_s, late=late)
            return
        outcome = self._confirmation.outcome(self.log, self.estimator.prior, age_s, late=late)
        value = self._confirmation.value
        if outcome not in ("continue", "accept"):
            self.findings.bends += self._confirmation.bends
        if outcome == "accept" and value is not None:
            reason = WITHOUT_EFFECT if self._confirms_start else ""
            self._end = Finish("confirmed", reason, value.mean, value.sd, value.dof)
            self._queue.release()
        elif outcome == "release" and self._confirms_start:
            self._give_up("undecided", NO_EFFECT)
        elif outcome == "release":
            centre = self._confirmation.would_pass_centred(self.estimator.prior)
            self.findings.note_undecided(self._confirmation, self.log)
            self._queue.rest()
            if centre:
                self._queue.move(self._centring_actions(), rf_on=False)
        elif outcome != "continue":
            self._confirms_start = False
            self._refuted = outcome == "refuted"
            self.findings.learn(self._confirmation.own_estimate, age_s, refuted=self._refuted)
            self._confirmation = None
            self.estimator.restart_fit()
            self.estimator.allow_for_departures()
            self._adjust(age_s, late=late)

    def _centring_actions(self) -> list[Action]:
        """The moves that bring the output, as the confirmations here have it, to the target."""
        gain = self.estimator.prior.known_gain(self.parameters.moving.gain_sds)
        if self._confirmation is None or self._confirmation.value is None or gain is None:
            return []
        output = self._confirmation.value.rescaled(0.0, self.spec.question.target)
        move = self.sizer.centring_move(output, gain)
        return [] if move is None else self.findings.with_run_up(move)

    @property
    def _is_too_warm(self) -> bool:
        """Whether the warmth left after the full rest allows no confirmation, however watched."""
        allowed = self.parameters.giving_up.warmth_tolerances * self.sizer.tolerance
        return self._residual_warmth.uncertainty > allowed

    @property
    def _timeout_margin_s(self) -> float:
        """Time before a time-out by which RF must go off at this reading: the next is too late."""
        margin_s = self.parameters.giving_up.timeout_margin_s
        return margin_s + self.log.interval_s + self.spec.question.window_s

    def _new_confirmation(self) -> Confirmation:
        """A confirmation of the present activation."""
        confirming = self.parameters.confirming
        return Confirmation(
            self.spec.question,
            self.parameters,
            residual_warmth=self._residual_warmth,
            habits=self.estimator.habits.at_least(confirming.hunting),
            improve_landing=self._budget.activations <= confirming.improving_activations,
            earlier=tuple(self.findings.undecided),
        )

    def _adjust(self, age_s: float, *, late: bool) -> None:
        """Queue what the readings call for."""
        decision = self._decider.decide(
            self.log, age_s, late=late, first=self._budget.activations == 1, refuted=self._refuted
        )
        if decision.kind == "give up":
            self._give_up("not adjustable", decision.reason)
        elif decision.kind == "leave undecided":
            self._give_up("undecided", decision.reason)
        elif decision.kind == "confirm the start":
            self._confirm_start()
        elif decision.kind == "return to start":
            self._queue.return_to(0, 0, rf_on=True)
        elif decision.kind == "release":
            self._release(age_s, decision.move)
        elif decision.move is not None and self._presses.wait_for_rf_off(
            decision, self.log, refuted=self._refuted
        ):
            self._release_for_presses(age_s, self._presses.of_move(decision.move))
        elif decision.move is not None:
            if not self.spec.moves_while_on:  # RF goes off for it: adjust again before confirming
                self._to_confirm = False
            self._queue.move(self.findings.with_run_up(decision.move), rf_on=True)

    def _confirm_start(self) -> None:
        """Queue a rest and the way back to the start, to confirm the output there."""
        self._to_confirm = True
        self._queue.rest()
        self._queue.return_to(0, 0, rf_on=False)
        self._confirms_start = True

    def _release_for_presses(self, age_s: float, presses: list[Action]) -> None:
        """Queue a rest and then `presses`, once they are due; until then readings are taken."""
        if self._presses.are_due(presses, age_s, self.log):
            self._to_confirm = True
            self._queue.rest_with_last_moves(presses)

    def _release(self, age_s: float, move: Action | None) -> None:
        """Queue a last move and a rest, after which to confirm; without a move now, if allowed."""
        self._to_confirm = True
        allowed = self.parameters.confirming.warmth_tolerances * self.sizer.tolerance
        cool = self._residual_warmth.uncertainty <= allowed
        rested = self._was_to_confirm or (self._budget.activations == 1 and cool)
        may_confirm = rested and self.findings.refuted_here == 0 and self.log.undisturbed
        if move is not None or not may_confirm:
            self._queue.rest_with_last_moves([] if move is None else self._presses.of_move(move))
            return
        self.estimator.restart_fit()
        self._confirmation = self._new_confirmation()
        if self._was_to_confirm:
            self._confirmation.rule_out_moves(age_s)
        self._was_to_confirm = True

    def _give_up(self, ended: Literal["undecided", "not adjustable"], reason: str) -> None:
        """Queue RF off and the way to where the trim is to be left, then the end."""
        if self._rf_on:
            self.findings.note_places(self.log, self._confirmation)
            self._queue.release()
        self._forget_places(reason)
        best = self.findings.places.best()
        counts, coarse = (0, 0) if best is None else (best.counts, best.coarse)
        self._queue.return_to(counts, coarse, rf_on=False)
        left = self.findings.places.description() if self.trim.moves > 0 else ""
        if reason == NO_EFFECT:
            left = "; ".join(filter(None, [moved_without_effect(self.trim), left]))
        self._end = Finish(ended, reason, left=left, back_at_start=best is None)

    def _forget_places(self, reason: str) -> None:
        """Forget of the places what the `reason` for giving up shows to be wrong."""
        no_model = reason.startswith(NO_MODEL)
        if self.spec.keys is not None and (no_model or reason == RUN_AWAY):
            self.findings.places.forget_all_but_start()
        elif no_model:
            self.findings.places.forget_what_models_say()

    def _why_undecided(self) -> str:
        """The cause that the findings give."""
        left = self._residual_warmth.uncertainty
        return why_undecided(evidence(self.spec, self.findings, self._budget, self.estimator, left))
