"""Adjusting one point, as a policy without clock or port: told what happened, it says what next.

One activation after another: look while the output rises, probe as soon as the level is known well
enough to see the probe, move towards the target as the gain becomes known, release when the
output will probably land well in tolerance, rest, and confirm on the confirmation's own readings.
"""

from __future__ import annotations

from collections import deque

import numpy as np
from numpy.typing import NDArray

from .actions import Action, Activate, Finish, Press, Release, Sample
from .activation_log import ActivationLog
from .decision import Bounds, Look
from .fleet_prior import FleetPrior, Learned
from .knowledge import COARSE, GAIN, NoisePrior
from .mixture import Mixture
from .point import PointSpec
from .transient import Start, Transient, fit_transient
from .trim import Trim
from .tuning import Tuning
from .watching import Watch

Floats = NDArray[np.float64]

_HEATING_S, _COOLING_S = 8.0, 15.0


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
        self.tolerance = spec.question.tolerance / spec.question.target
        self._queue: deque[Action] = deque()
        self._end: Finish | None = None
        self._on = False
        self._activations = self._probes = 0
        self._hunting = self.tuning.hunting
        self._hunts = 0.0
        self._noise = NoisePrior(hunting=prior.hunting_share())
        self._heat = 0.0
        self._to_confirm = False
        self._gain_guess = 1e-3
        self._presses_due = 0

    # what happened

    def activated(self) -> None:
        """RF is on."""
        self._on, self._leaving = True, False
        self._presses_due = 0
        self._activations += 1
        self._log = ActivationLog(self.spec.question, self.trim.place(), self._heat)
        self._start: Start | None = None
        self._fit: Transient | None = None
        self._thought_s = self._next_look_s = 0.0
        self._confirming, self._stubborn = self._to_confirm, False
        self._watch = Watch(self.spec.question, self.bounds, heat=self._heat, hunting=self._hunting)

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

    def released(self, on_s: float) -> None:
        """RF is off; if that was not asked for, the service mode timed out, and a rest follows."""
        self._on = False
        if not self._leaving:
            self._queue.clear()
            self._queue.append(Release(self.spec.rest_s))
        self._heat = 1 - (1 - self._heat) * float(np.exp(-on_s / _HEATING_S))
        if self._fit is not None:
            self.knowledge = self._fit.knowledge().loosened()

    def rested(self, rest_s: float) -> None:
        """RF has been off for so long."""
        self._heat *= float(np.exp(-rest_s / _COOLING_S))

    def learned(self) -> Learned | None:
        """What this unit taught for the next of its model; None if its gain was never seen."""
        gain = float(self.knowledge.mean[GAIN])
        sd = float(np.sqrt(self.knowledge.covariance[GAIN, GAIN]))
        if self.trim.moves == 0 or abs(gain) < 3 * sd:
            return None
        return Learned(gain, self.knowledge.lag_s, self.knowledge.dead_s, self._hunts)

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

    # deciding

    def _think(self, age_s: float) -> None:
        late = age_s > self.spec.timeout_s - self.tuning.margin_s
        if not self._confirming:
            self._adjust(age_s, late)
        elif age_s >= self._next_look_s or late:
            self._confirm(age_s, late)

    def _confirm(self, age_s: float, late: bool) -> None:
        ages, values = self._log.readings
        look = self._watch.look(ages, values)
        if look is not None:
            answer = look.answer(self.bounds)
            soon = self._looked_s(age_s) < self.tuning.least_look_s
            if answer == "in tolerance" and soon:
                self._next_look_s = age_s + 0.3
            elif answer == "in tolerance" or self._hunting_may_explain(look, age_s):
                if self._watch.answer(ages, values) == "in tolerance":
                    self._accept()
                    return
                self._next_look_s = age_s + 0.4
            elif answer != "undecided" or self._hopeless(look, age_s):
                self._confirming, self._start = False, None
                self._adjust(age_s, late)
                return
            else:
                self._next_look_s = age_s + look.wait_s(self.bounds)
        if late or self._looked_s(age_s) > self.tuning.longest_patience_s:
            self._release_to_confirm()

    def _accept(self) -> None:
        value = self._watch.value
        if value is not None:
            self._end = Finish("pass", "", value.mean, value.sd)
            self._queue.append(Release(0.0))

    def _hunting_may_explain(self, look: Look, age_s: float) -> bool:
        """Whether it is worth asking if swings that widen the estimate are hunting."""
        if look.remainder > 0.5 * self.bounds.remainder or look.within < 0.97:
            return False
        return self._looked_s(age_s) > self.tuning.least_patience_s

    def _hopeless(self, look: Look, age_s: float) -> bool:
        """Whether moving and confirming anew is likely to be quicker than looking on."""
        if self._stubborn or look.remainder > self.bounds.remainder:
            return False
        off = abs(look.value.mean)
        if not self._improvable(off):
            return False
        unlikely = 1 - off < self.tuning.hopeless * look.value.sd
        return unlikely or self._looked_s(age_s) > self._patience_s()

    def _improvable(self, off: float) -> bool:
        """Whether a move could bring the output clearly nearer than `off` tolerances."""
        gain = abs(float(self.knowledge.mean[GAIN])) / self.tolerance
        gain_sd = float(np.sqrt(self.knowledge.covariance[GAIN, GAIN])) / self.tolerance
        if gain < self.tuning.gain_seen * gain_sd:
            return False
        return abs(off - gain * round(off / gain)) < off - 0.2

    def _looked_s(self, age_s: float) -> float:
        """For how long the lag has been gone."""
        return age_s - self.knowledge.dead_s - 5 * self.knowledge.lag_s

    def _patience_s(self) -> float:
        """What another confirmation would cost: so long it pays to look on."""
        again_s = 2 * self.knowledge.dead_s + 8 * self.knowledge.lag_s
        return max(self.tuning.least_patience_s, self.tuning.patience * again_s)

    def _adjust(self, age_s: float, late: bool) -> None:
        fit = self._refit(hunting=False)
        if fit is not None and self._disappoints(fit):
            self.knowledge = self.knowledge.with_open_gain()
            fit = self._refit(hunting=False)
        if fit is None:
            if late:
                self._give_up("not adjustable", "no output")
            return
        gain = fit.combination(self._coarse_gain())
        seen = abs(gain.mean) > self.tuning.gain_seen * gain.sd
        here = fit.combination(self._vector())
        move = self._next_move(fit, here) if seen else None
        if late or self._lands_well(fit, move):
            self._leave(age_s, move)
        elif not seen:
            self._probe(age_s, fit, here, gain)
        elif move is not None and age_s - self._log.moved_s >= self._seen_after_s(fit):
            self._queue.append(move)

    def _disappoints(self, fit: Transient) -> bool:
        """Whether the readings contradict what was believed of the gain beforehand."""
        gain = fit.combination(_unit(GAIN))
        believed, sd = self.knowledge.mean[GAIN], np.sqrt(self.knowledge.covariance[GAIN, GAIN])
        return bool(gain.sd < sd and abs(gain.mean - believed) > self.tuning.surprise * sd)

    def _coarse_gain(self) -> Floats:
        """Gain per count as the coarse key has it; per count if the trim is remote."""
        keys = self.spec.keys
        return _unit(GAIN) if keys is None else _unit(GAIN) + _unit(COARSE) / keys.coarse_counts

    def _next_move(self, fit: Transient, here: Mixture) -> Action | None:
        counts = self._wished(here, fit.combination(self._coarse_gain()))
        fine = self._wished(here, fit.combination(_unit(GAIN)), self.tuning.key_spared)
        return self.trim.towards(counts, fine)

    def _leave(self, age_s: float, move: Action | None) -> None:
        """Release to confirm, after a last move; a confirmation that needs none goes on."""
        if move is not None:
            self._queue.append(move)
        elif self._to_confirm and self._log.undisturbed:
            self._confirming, self._stubborn, self._start = True, True, None
            self._next_look_s = age_s + 0.3
            return
        self._release_to_confirm()

    def _refit(self, *, hunting: bool) -> Transient | None:
        # what a coarse press is off by and the curvature scale with the gain, which readings tell
        coarse_sd = 0.0 if self.spec.keys is None else self.spec.keys.coarse_sd
        knowledge = self.knowledge.for_gain(self._gain_guess, coarse_sd)
        fit = fit_transient(
            self._log.record(), knowledge, self._noise, self._start, hunting=hunting
        )
        if fit is not None:
            self._fit, self._start = fit, fit.start
            self._gain_guess = abs(fit.combination(self._coarse_gain()).mean) + 1e-4
        return fit

    def _seen_after_s(self, fit: Transient) -> float:
        return fit.dead_s + 0.5 * self.spec.question.window_s

    def _wished(self, here: Mixture, gain: Mixture, spared: float = 0.0) -> int:
        """Counts to move: fewer, the less sure the gain; none for what is small or unsure.

        `spared`: how much of the error, in tolerances, is not worth a person's presses.
        """
        t, error = self.tuning, 1.0 - here.mean
        good = t.good if self.spec.keys is None else t.key_good
        if abs(error) < max(t.worth * here.sd, good * self.tolerance):
            return 0
        corrected = error - np.copysign(spared * self.tolerance, error)
        counts = corrected * gain.mean / (gain.mean**2 + self.tuning.caution * gain.sd**2)
        room = (t.excursion_cap + abs(error)) / (abs(gain.mean) + t.gain_doubt * gain.sd)
        return round(float(np.clip(counts, -room, room)))

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
        """A step out, sized so that even the largest gain still thinkable keeps the excursion."""
        t, error = self.tuning, 1 - here.mean
        if self._probes == 0:
            if here.sd <= t.probe_level_sd * self.tolerance:
                sign = 1 if error * gain.mean >= 0 else -1
                self._step_out(sign, self.spec.largest_gain / self.spec.question.target, error)
            return
        if age_s - self._log.moved_s < self._seen_after_s(fit) + t.probe_lags * fit.lag_s:
            return
        largest = abs(gain.mean) + t.gain_doubt * gain.sd
        useless = largest < self.tolerance * t.least_gain
        if self._probes >= t.most_probes or (self._probes >= 2 and useless):
            self._give_up("not adjustable", "the trim has no effect")
            return
        towards = error * gain.mean
        sure = abs(gain.mean) > gain.sd
        onwards = towards > 0 if sure else self.trim.counts >= 0
        self._step_out(1 if onwards else -1, largest, error)

    def _step_out(self, sign: int, largest_gain: float, error: float) -> None:
        t = self.tuning
        probe = t.probe_excursion if self.spec.keys is None else t.key_probe_excursion
        room = min(probe, max(2.2 * probe - abs(error), 0.3 * probe))
        # a probe that was not seen may have been looked for too early: grow with care
        most = t.probe_growth * max(abs(self.trim.counts), t.first_probe)
        counts = min(max(1, int(room / largest_gain)), most)
        self._probes += 1
        self._queue.append(self.trim.outwards(sign * counts, self._probes))

    def _give_up(self, verdict: str, reason: str) -> None:
        """Restore the start with RF off, and end."""
        if self._on:
            self._queue.append(Release(0.0))
        self._queue.extend(self.trim.back())
        self._end = Finish("undecided" if verdict == "undecided" else "not adjustable", reason)


def _unit(index: int) -> Floats:
    unit = np.zeros(8)
    unit[index] = 1.0
    return unit
