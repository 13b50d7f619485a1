"""Adjusting one point, as a policy without clock or port: told what happened, it says what next.

One activation after another: look while the output rises, probe as soon as the level is known well
enough to see the probe, move towards the target as the gain becomes known, release when the
output will probably land well in tolerance, rest, and confirm on the confirmation's own readings.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import PointSpec
from ohmwright.estimation.sequential_test import DecisionBounds
from ohmwright.estimation.thermal_droop import ResidualWarmth, cooled, heated
from ohmwright.estimation.transient_estimate import TransientEstimate

from .action_queue import ActionQueue
from .actions import Action, Activate, Finish, Press, Release, Sample
from .activation_log import ActivationLog
from .confirmation import Confirmation
from .first_move import first_move
from .fleet_prior import FleetPrior, Learned
from .move_choice import MoveChooser
from .parameters import Parameters
from .runaway_check import RunawayCheck
from .step_sizing import StepSizer
from .trim import Trim
from .unit_estimator import UnitEstimator

Floats = NDArray[np.float64]

NO_EFFECT = "the trim has no effect"
"""Why a point is given up whose output follows no move."""


class AdjustPolicy:
    """Ask `next_action`, carry it out, and tell what came of it."""

    def __init__(
        self,
        spec: PointSpec,
        prior: FleetPrior | None = None,
        parameters: Parameters | None = None,
    ) -> None:
        self.spec = spec
        self.parameters = parameters or Parameters()
        self.bounds = DecisionBounds(inside=0.9993, outside=0.95)
        self.trim = Trim(spec.keys)
        self.sizer = StepSizer(spec, self.parameters, self.trim)
        self.estimator = UnitEstimator(spec, self.parameters, self.sizer, prior or FleetPrior())
        self._chooser = MoveChooser(self.parameters, self.sizer, self.estimator)
        self._queue = ActionQueue(spec, self.trim)
        self._end: Finish | None = None
        self._on = self._leaving = False
        self._activations = 0
        self._heat = 0.0
        self._left = ResidualWarmth()
        self._to_confirm = self._looked = self._refuted = False
        self._confirmation: Confirmation | None = None
        self._presses_due = 0
        self._ends_s = spec.timeout_s
        self.guard = RunawayCheck(self.parameters, self.sizer)
        if spec.expected is not None:
            move, self._to_confirm = first_move(spec.expected, self.estimator, self.sizer)
            if move is not None:
                self._queue.move(move, on=False)

    # what happened

    def activated(self, left: ResidualWarmth | None = None) -> None:
        """RF is on. `left`: warmth left over; reckoned from the rests where not given."""
        self._on, self._leaving = True, False
        self._presses_due = 0
        self._activations += 1
        self._left = ResidualWarmth(self._heat) if left is None else left
        self._heat = self._left.heat
        self._log = ActivationLog(self.spec.question, self.trim.place(), self._heat)
        self.estimator.begin(self._log)
        self._thought_s = 0.0
        self._confirmation = self._new_confirmation() if self._to_confirm else None
        self._looked = self._to_confirm

    def read(self, age_s: float, value: float) -> None:
        """A reading: the mean over the meter's window that ended at its age."""
        self._log.note_reading(age_s, value)
        busy = self._queue or self._presses_due > 0
        if age_s - self._thought_s >= self.parameters.think_every_s and not busy:
            self._thought_s = age_s
            self._think(age_s)

    def moved(self, age_s: float, counts: int) -> None:
        """The trim has moved."""
        before = self.trim.place()
        self.trim.note_moved(counts)
        self._note_step(age_s, before)

    def pressed(self, age_s: float, key: str, times: int) -> None:
        """A key was pressed."""
        before = self.trim.place()
        self._presses_due -= abs(times)
        self.trim.note_pressed(key, times)
        self._note_step(age_s, before)

    def released(self, on_s: float, *, timed_out: bool = False) -> None:
        """RF is off; if that was not asked for, the service mode timed out, and a rest follows.

        Nothing is learned from an activation whose output went away by itself (`timed_out`), but
        for when that happens: the next is left in time.
        """
        self._on = False
        if not self._leaving:
            self._queue.rest_at_once()
            self.sizer.probes = 0
        self._heat = heated(self._heat, on_s)
        if timed_out:
            self._ends_s = min(self._ends_s, on_s)
        else:
            self.estimator.end()

    def rested(self, rest_s: float) -> None:
        """RF has been off for so long."""
        self._heat = cooled(self._heat, rest_s)

    def learned(self) -> Learned | None:
        """What this unit taught for the next of its model; None if its gain was never seen."""
        return None if self.trim.moves == 0 else self.estimator.learned()

    @property
    def to_confirm(self) -> bool:
        """Whether the next activation may confirm, and so must be a rested one."""
        return self._to_confirm

    def next_action(self) -> Action:
        """What to do now."""
        if self._queue:
            action = self._queue.pop()
            self._presses_due = abs(action.times) if isinstance(action, Press) else 0
            self._leaving = self._leaving or isinstance(action, Release)
            return action
        if self._on:
            return Sample()
        if self._end is None and self._activations >= self.parameters.most_activations:
            self._give_up("undecided", "no confirmation within the activations allowed")
            return self.next_action()
        return Activate() if self._end is None else self._end

    def _note_step(self, age_s: float, before: Floats) -> None:
        if self._on:
            self._log.note_step(age_s, self.trim.place() - before)

    # deciding

    def _think(self, age_s: float) -> None:
        if self._confirmation is None:
            self._adjust(age_s, late=age_s > self._ends_s - self.parameters.margin_s)
            return
        late = age_s > self.spec.timeout_s - self.parameters.margin_s
        outcome = self._confirmation.think(
            self._log, self.estimator.transient_prior, age_s, late=late
        )
        value = self._confirmation.value
        if outcome == "accept" and value is not None:
            self._end = Finish("pass", "", value.mean, value.sd, value.dof)
            self._queue.stop()
        elif outcome == "release":
            self._queue.rest()
        elif outcome != "look on":
            self._confirmation = None
            self.estimator.fresh_start()
            self._refuted = outcome == "refuted"
            self._adjust(age_s, late=late)

    def _new_confirmation(self) -> Confirmation:
        hunting = min(max(self.estimator.hunts, self.parameters.hunting), 0.98)
        return Confirmation(
            self.spec.question,
            self.parameters,
            self.bounds,
            left=self._left,
            hunting=hunting,
            choosy=self._activations <= self.parameters.choosy_activations,
        )

    def _adjust(self, age_s: float, *, late: bool) -> None:
        fit = self.estimator.fit()
        if fit is None:
            if late:
                self._give_up("not adjustable", "no output")
            return
        gain = fit.combination(self.sizer.coarse_gain())
        here = fit.combination(self.trim.vector())
        if self.guard.runs_away(here):
            self._go_back()
            return
        seen = self.estimator.is_seen(gain)
        move = self._chooser.next_move(fit, here, gain) if seen else None
        if self._chooser.is_stuck(here, gain, move, first=self._activations == 1):
            self.estimator.open_gain()
            return
        beyond = self.guard.why_out_of_reach(here, gain, move, refuted=self._refuted)
        if seen and beyond is not None:
            self._give_up("not adjustable", beyond)
            return
        eager = self.estimator.borrowed and self._activations == 1
        if late or self.estimator.lands_well(fit, self.trim.vector(move), eager=eager):
            self._leave(age_s, move)
        elif not seen:
            self._probe(age_s, fit, here, gain)
        elif move is not None and age_s - self._log.moved_s >= self.estimator.wait_s(fit, gain):
            self._move(move)

    def _go_back(self) -> None:
        """Return to the start and begin anew; give up the second time."""
        self.estimator.open_gain()
        if self.guard.runaways > 1:
            self._give_up("not adjustable", "the output does not follow the trim")
            return
        self._queue.put_back(on=True)

    def _leave(self, age_s: float, move: Action | None) -> None:
        """Release to confirm, after a last move; without any, this activation confirms."""
        self._to_confirm = True
        cool = self._left.uncertainty <= self.parameters.warm * self.sizer.tolerance
        may_confirm = self._looked or (self._activations == 1 and cool)
        if move is not None or not (may_confirm and self._log.undisturbed):
            self._queue.move_and_rest(move)
            return
        self.estimator.fresh_start()
        self._confirmation = self._new_confirmation()
        if self._looked:
            self._confirmation.insist(age_s)
        self._looked = True

    def _move(self, move: Action) -> None:
        """Move now; where that takes RF off, look anew before anything is confirmed."""
        if not self.spec.moves_while_on:
            self._to_confirm = False
        self._queue.move(move, on=True)

    def _probe(self, age_s: float, fit: TransientEstimate, here: Mixture, gain: Mixture) -> None:
        if self._log.undisturbed and not self.sizer.ready_to_probe(here):
            return
        if self.sizer.probes == 0:
            self._move(self.sizer.first_probe(here, gain))
            return
        if age_s - self._log.moved_s < self.estimator.acts_s(fit, self.parameters.probe_lags):
            return
        if self.sizer.no_effect(gain):
            self._give_up("not adjustable", NO_EFFECT)
            return
        self._move(self.sizer.next_probe(here, gain))

    def _give_up(self, verdict: Literal["undecided", "not adjustable"], reason: str) -> None:
        """Restore the start with RF off, and end."""
        if self._on:
            self._queue.stop()
        self._queue.put_back(on=False)
        self._end = Finish(verdict, reason)
