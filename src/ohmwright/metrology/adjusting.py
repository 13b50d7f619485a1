"""Adjusting one point, as a policy without clock or port: told what happened, it says what next.

One activation after another: look while the output rises, probe as soon as the level is known well
enough to see the probe, move towards the target as the gain becomes known, release when the
output will probably land well in tolerance, rest, and confirm on the confirmation's own readings.
"""

from __future__ import annotations

from collections import deque
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from .actions import Action, Activate, Finish, Press, Release, Sample
from .activation_log import ActivationLog
from .confirming import Confirmation
from .decision import Bounds
from .droop import LeftOver, cooled, heated
from .fleet_prior import FleetPrior, Learned
from .knowledge import GAIN, Knowledge, NoisePrior, first_knowledge
from .mixture import Mixture
from .moving import FINE_GAIN, Mover
from .point import PointSpec
from .transient import Start, Transient
from .transient_fit import fit_transient
from .trim import Trim
from .tuning import Tuning

Floats = NDArray[np.float64]


class AdjustPolicy:
    """Ask `next_action`, carry it out, and tell what came of it."""

    def __init__(
        self,
        spec: PointSpec,
        prior: FleetPrior | None = None,
        tuning: Tuning | None = None,
        bounds: Bounds | None = None,
    ) -> None:
        self.spec = spec
        self.tuning = tuning or Tuning()
        self.bounds = bounds or Bounds(outside=0.95)
        prior = prior or FleetPrior()
        self.knowledge = prior.knowledge()
        self.trim = Trim(spec.keys)
        self.mover = Mover(spec, self.tuning, self.trim)
        self.tolerance = self.mover.tolerance
        self._believed_sd = self._gain_sd()
        self._queue: deque[Action] = deque()
        self._end: Finish | None = None
        self._on = self._leaving = False
        self._activations = 0
        self._hunting = self.tuning.hunting
        self._hunts = 0.0
        self._noise = NoisePrior(hunting=prior.hunting_share())
        self._heat = 0.0
        self._left = LeftOver()
        self._to_confirm = self._refuted = False
        self._confirmation: Confirmation | None = None
        self._gain_guess = 1e-3
        self._presses_due = 0
        self._first_off: float | None = None
        self._runaways = 0
        if spec.expected is not None:
            self._begin_where_expected(spec.expected.value, spec.expected.sd)

    # what happened

    def activated(self, left: LeftOver | None = None) -> None:
        """RF is on. `left`: warmth left over; reckoned from the rests where not given."""
        self._on, self._leaving = True, False
        self._presses_due = 0
        self._activations += 1
        self._left = LeftOver(self._heat) if left is None else left
        self._heat = self._left.heat
        self._log = ActivationLog(self.spec.question, self.trim.place(), self._heat)
        self._start: Start | None = None
        self._open_start: Start | None = None
        self._fit: Transient | None = None
        self._thought_s = 0.0
        self._confirmation = self._new_confirmation() if self._to_confirm else None

    def read(self, age_s: float, value: float) -> None:
        """A reading: the mean over the meter's window that ended at its age."""
        self._log.note_reading(age_s, value)
        busy = self._queue or self._presses_due > 0
        if age_s - self._thought_s >= self.tuning.think_every_s and not busy:
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

        Nothing is learned from an activation whose output went away by itself (`timed_out`).
        """
        self._on = False
        if not self._leaving:
            self._queue.clear()
            self._queue.append(Release(self.spec.rest_s))
            self.mover.probes = 0
        self._heat = heated(self._heat, on_s)
        if self._fit is not None and not timed_out:
            self.knowledge = self._fit.knowledge().loosened()

    def rested(self, rest_s: float) -> None:
        """RF has been off for so long."""
        self._heat = cooled(self._heat, rest_s)

    def learned(self) -> Learned | None:
        """What this unit taught for the next of its model; None if its gain was never seen."""
        gain, sd = float(self.knowledge.mean[GAIN]), self._gain_sd()
        if self.trim.moves == 0 or abs(gain) < 3 * sd:
            return None
        return Learned(gain, self.knowledge.lag_s, self.knowledge.dead_s, self._hunts)

    @property
    def to_confirm(self) -> bool:
        """Whether the next activation may confirm, and so must be a rested one."""
        return self._to_confirm

    def next_action(self) -> Action:
        """What to do now."""
        if self._queue:
            action = self._queue.popleft()
            self._presses_due = abs(action.times) if isinstance(action, Press) else 0
            self._leaving = self._leaving or isinstance(action, Release)
            return action
        if self._on:
            return Sample()
        if self._end is None and self._activations >= self.tuning.most_activations:
            self._give_up("undecided", "no confirmation within the activations allowed")
            return self.next_action()
        return Activate() if self._end is None else self._end

    # bookkeeping

    def _note_step(self, age_s: float, before: Floats) -> None:
        if self._on:
            self._log.note_step(age_s, self.trim.place() - before)

    def _vector(self, after: Action | None = None) -> Floats:
        return np.concatenate([self.trim.place(after), np.zeros(4)])

    def _gain_sd(self) -> float:
        return float(np.sqrt(self.knowledge.covariance[GAIN, GAIN]))

    # deciding

    def _begin_where_expected(self, value: float, sd: float) -> None:
        """Move before the first activation if enough is known; it may then confirm at once."""
        target = self.spec.question.target
        self.knowledge = self.knowledge.with_level(value / target, sd / target)
        gain = _known(float(self.knowledge.mean[GAIN]), self._gain_sd())
        here = _known(value / target, sd / target)
        move = None
        if self._is_seen(gain):
            move = self.mover.towards(here, gain, gain, self.tuning.unseen_spare)
        if move is not None:
            self._queue.append(move)
        step = float(self.trim.place(move)[1])
        spread = float(np.hypot(here.sd, step * gain.sd))
        there = _known(here.mean + step * gain.mean, spread)
        self._to_confirm = there.within(1 - self.tolerance, 1 + self.tolerance) > 0.5

    def _think(self, age_s: float) -> None:
        late = age_s > self.spec.timeout_s - self.tuning.margin_s
        if self._confirmation is None:
            self._adjust(age_s, late)
            return
        outcome = self._confirmation.think(self._log, self.knowledge, age_s, late=late)
        if outcome == "accept":
            self._accept(self._confirmation.value)
        elif outcome == "release":
            self._release_to_confirm()
        elif outcome != "look on":
            self._confirmation, self._start = None, None
            self._refuted = outcome == "refuted"
            self._adjust(age_s, late)

    def _new_confirmation(self) -> Confirmation:
        return Confirmation(
            self.spec.question, self.tuning, self.bounds, left=self._left, hunting=self._hunting
        )

    def _accept(self, value: Mixture | None) -> None:
        if value is not None:
            self._end = Finish("pass", "", value.mean, value.sd, value.dof)
            self._queue.append(Release(0.0))

    def _adjust(self, age_s: float, late: bool) -> None:
        fit = self._refit(hunting=False)
        if fit is not None and (self._disappoints(fit) or self._is_contradicted(fit)):
            self.knowledge = self.knowledge.with_open_gain()
            self._believed_sd = self._gain_sd()
            fit = self._refit(hunting=False)
        if fit is None:
            if late:
                self._give_up("not adjustable", "no output")
            return
        gain = fit.combination(self.mover.coarse_gain())
        here = fit.combination(self._vector())
        if self._runs_away(here):
            return
        seen = self._is_seen(gain)
        move = self._next_move(fit, here, gain) if seen else None
        if seen and self._out_of_reach(here, gain, move):
            return
        if late or self._lands_well(fit, move):
            self._leave(age_s, move)
        elif not seen:
            self._probe(age_s, fit, here, gain)
        elif move is not None and age_s - self._log.moved_s >= self._wait_s(fit, gain):
            self._queue_move(move)

    def _is_seen(self, gain: Mixture) -> bool:
        return abs(gain.mean) > self.tuning.gain_seen * gain.sd

    def _is_own(self, gain: Mixture) -> bool:
        """Whether this unit's own readings tell its gain, not only what others of its model did."""
        return gain.sd < self.tuning.own_gain * self._believed_sd

    def _disappoints(self, fit: Transient) -> bool:
        """Whether the readings contradict what was believed of the gain beforehand."""
        gain = fit.combination(FINE_GAIN)
        believed, sd = self.knowledge.mean[GAIN], self._gain_sd()
        return bool(gain.sd < sd and abs(gain.mean - believed) > self.tuning.surprise * sd)

    def _is_contradicted(self, fit: Transient) -> bool:
        """Whether the readings by themselves tell another gain than others of the model had.

        A firm belief would otherwise bend everything else (level, curvature) before itself.
        """
        unmoved = self.trim.counts == 0
        if unmoved or not self._borrowed or self._is_own(fit.combination(FINE_GAIN)):
            return False
        open_fit = fit_transient(
            self._log.record(),
            self._scaled(self.knowledge.with_open_gain()),
            self._noise,
            self._open_start,
        )
        if open_fit is None:
            return False
        self._open_start = open_fit.start
        own = open_fit.combination(FINE_GAIN)
        off = abs(own.mean - float(self.knowledge.mean[GAIN]))
        return off > self.tuning.contradiction * float(np.hypot(own.sd, self._gain_sd()))

    def _runs_away(self, here: Mixture) -> bool:
        """Go back to the start when the output has left all bounds; give up the second time."""
        off = abs(1 - here.mean)
        if self._first_off is None:
            self._first_off = off
        keyed = self.spec.keys is not None
        cap = self.tuning.key_runaway if keyed else self.tuning.runaway
        if self.trim.moves == 0 or off < self._first_off + cap:
            return False
        self._runaways += 1
        self.knowledge = self.knowledge.with_open_gain()
        self._believed_sd = self._gain_sd()
        if self._runaways > 1:
            self._give_up("not adjustable", "the output does not follow the trim in any order")
            return True
        if not self.spec.moves_while_on:
            self._queue.append(Release(self.spec.rest_s))
        self._queue.extend(self.trim.back())
        return True

    @property
    def _borrowed(self) -> bool:
        """Whether what is believed of the gain comes from other units of the model."""
        return self._believed_sd < float(np.sqrt(first_knowledge().covariance[GAIN, GAIN]))

    def _next_move(self, fit: Transient, here: Mixture, gain: Mixture) -> Action | None:
        t = self.tuning
        own = self._is_own(gain)
        if not own and self.trim.counts == 0 and abs(1 - here.mean) < t.unseen_worth * here.sd:
            return None
        spare = t.excursion_cap if own else t.unseen_spare
        return self.mover.towards(here, gain, fit.combination(FINE_GAIN), spare)

    def _out_of_reach(self, here: Mixture, gain: Mixture, move: Action | None) -> bool:
        """Give up where the trim ends too early or one count does too much to land."""
        tol = self.tolerance
        if move is not None or here.within(1 - tol, 1 + tol) > self.tuning.out_of_reach:
            return False
        if self.mover.at_the_end(here, gain):
            self._give_up("not adjustable", "the trim's range ends before the target")
        elif self._refuted and abs(gain.mean) > tol:
            self._give_up("not adjustable", "no count brings it into tolerance")
        return self._end is not None

    def _leave(self, age_s: float, move: Action | None) -> None:
        """Release to confirm, after a last move; a confirmation that needs none goes on."""
        if move is None and self._to_confirm and self._log.undisturbed:
            self._confirmation, self._start = self._new_confirmation(), None
            self._confirmation.insist(age_s)
            return
        if move is not None and self.spec.moves_while_on:
            self._queue.append(move)
        self._release_to_confirm()
        if move is not None and not self.spec.moves_while_on:
            self._queue.append(move)

    def _queue_move(self, move: Action) -> None:
        """Move now; with RF off where the unit takes it only so, to look anew afterwards."""
        if not self.spec.moves_while_on:
            self._to_confirm = False
            self._queue.append(Release(self.spec.rest_s))
        self._queue.append(move)

    def _refit(self, *, hunting: bool) -> Transient | None:
        knowledge = self._scaled(self.knowledge)
        fit = fit_transient(
            self._log.record(), knowledge, self._noise, self._start, hunting=hunting
        )
        if fit is not None:
            self._fit, self._start = fit, fit.start
            self._gain_guess = abs(fit.combination(self.mover.coarse_gain()).mean) + 1e-4
        return fit

    def _scaled(self, knowledge: Knowledge) -> Knowledge:
        # what a coarse press is off by and the curvature scale with the gain, which readings tell
        coarse_sd = 0.0 if self.spec.keys is None else self.spec.keys.coarse_sd
        return knowledge.for_gain(self._gain_guess, coarse_sd)

    def _wait_s(self, fit: Transient, gain: Mixture) -> float:
        """How long after a move the next may follow: longer while none was seen to act."""
        acts_s = fit.dead_s + 0.5 * self.spec.question.window_s
        return acts_s if self._is_own(gain) else acts_s + self.tuning.unseen_lags * fit.lag_s

    def _lands_well(self, fit: Transient, move: Action | None) -> bool:
        """Whether the output, after `move`, will probably be in tolerance, hunting or not."""
        there = self._vector(move)
        if not self._good(fit.combination(there)):
            return False
        careful = self._refit(hunting=True)
        if careful is None:
            return False
        self._hunts = careful.hunting
        self._hunting = float(np.clip(careful.hunting, self.tuning.hunting, 0.98))
        return self._good(careful.combination(there))

    def _good(self, value: Mixture) -> bool:
        t, tol = self.tuning, self.tolerance
        inner = t.inner * tol
        return (
            value.within(1 - tol, 1 + tol) >= t.release
            and value.within(1 - inner, 1 + inner) >= t.release_inner
        )

    def _release_to_confirm(self) -> None:
        self._to_confirm = True
        self._queue.append(Release(self.spec.rest_s))

    def _probe(self, age_s: float, fit: Transient, here: Mixture, gain: Mixture) -> None:
        if self._log.undisturbed and not self.mover.ready_to_probe(here):
            return
        if self.mover.probes == 0:
            self._queue_move(self.mover.first_probe(here, gain))
            return
        acts_s = fit.dead_s + 0.5 * self.spec.question.window_s
        if age_s - self._log.moved_s < acts_s + self.tuning.probe_lags * fit.lag_s:
            return
        if self.mover.no_effect(gain):
            self._give_up("not adjustable", "the trim has no effect")
            return
        self._queue_move(self.mover.next_probe(here, gain))

    def _give_up(self, verdict: Literal["undecided", "not adjustable"], reason: str) -> None:
        """Restore the start with RF off, and end."""
        if self._on:
            self._queue.append(Release(0.0))
        self._queue.extend(self.trim.back())
        self._end = Finish(verdict, reason)


def _known(mean: float, sd: float) -> Mixture:
    """An estimate from before the first reading."""
    return Mixture(np.ones(1), np.array([mean]), np.array([max(sd, 1e-9)]), 30.0)
