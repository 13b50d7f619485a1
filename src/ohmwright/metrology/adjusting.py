"""Adjusting one point, as a policy without clock or port: told what happened, it says what next.

One activation after another: look while the output rises, probe as soon as the level is known well
enough to see the probe, move towards the target as the gain becomes known, release when the
output will probably be in tolerance, rest, and confirm on the confirmation's own readings alone.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .actions import Action, Activate, Finish, Move, Press, Release, Sample
from .decision import Bounds, Confirmation, Look
from .mixture import Mixture
from .response import Steps
from .tail import fit_tail
from .transient import (
    Knowledge,
    NoisePrior,
    Record,
    Start,
    Transient,
    fit_transient,
)

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Keys:
    """Coached keys: what a coarse press is said to be worth, and how far that may be off."""

    coarse_counts: int = 10
    coarse_sd: float = 1.3


@dataclass(frozen=True)
class PointSpec:
    """One adjustment point. `target`, `tolerance`, `resolution` in the unit of the readings."""

    target: float
    tolerance: float
    window_s: float
    resolution: float
    timeout_s: float
    rest_s: float
    at_age_s: float = 6.0
    keys: Keys | None = None
    largest_gain: float = 6.0
    """The most that one count is expected to do."""


@dataclass(frozen=True)
class Tuning:
    """Thresholds of the policy; lengths relative to the tolerance unless said otherwise."""

    think_every_s: float = 0.2
    probe_level_sd: float = 0.6
    probe_excursion: float = 0.09
    """Part of the target that a probe may move the output by."""
    excursion_cap: float = 0.2
    gain_seen: float = 3.0
    release: float = 0.98
    inner: float = 0.5
    release_inner: float = 0.9
    good: float = 0.2
    least_patience_s: float = 4.0
    worth: float = 1.5
    model_factor: float = 1.0
    model_floor: float = 0.05
    tail_agrees: float = 2.5
    hopeless: float = 1.8
    patience: float = 1.0
    longest_patience_s: float = 40.0
    most_activations: int = 10
    most_probes: int = 4
    least_gain: float = 0.015
    margin_s: float = 1.0


def first_knowledge() -> Knowledge:
    """Belief about a point of which nothing is known."""
    mean = np.array([1.0, 0.0, 0.0, 0.0, 0.0075, np.log(0.75), np.log(0.5), np.log(0.15)])
    sd = np.array([0.1, 0.02, 0.01, 0.0015, 0.006, 0.55, 0.6, 1.0])
    return Knowledge(mean, np.diag(sd**2))


class AdjustPolicy:
    """Ask `next_action`, carry it out, and tell what came of it."""

    def __init__(
        self,
        spec: PointSpec,
        knowledge: Knowledge | None = None,
        tuning: Tuning | None = None,
    ) -> None:
        self.spec = spec
        self.tuning = tuning or Tuning()
        self.knowledge = knowledge or first_knowledge()
        self.noise = NoisePrior()
        self.bounds = Bounds()
        self._alone = first_knowledge()
        self.tolerance = spec.tolerance / spec.target
        self._queue: deque[Action] = deque()
        self._end: Finish | None = None
        self._on = False
        self._counts = 0
        self._coarse = 0
        self._activations = 0
        self._probes = 0
        self._hunting = 0.05
        self._heat = 0.0
        self._released_for_confirmation = False
        self._confirming = False
        self.fits = 0
        self.looks = 0

    # what happened

    def activated(self) -> None:
        """RF is on."""
        self._on = True
        self._activations += 1
        self._age: list[float] = []
        self._value: list[float] = []
        self._at_s = [0.0]
        self._weights = [self._place()]
        self._start: Start | None = None
        self._fit: Transient | None = None
        self._thought_s = 0.0
        self._moved_s = -np.inf
        self._next_look_s = 0.0
        self._stubborn = False
        self._confirming = self._released_for_confirmation

    def read(self, age_s: float, value: float) -> None:
        """A reading: the mean over the meter's window that ended at its age."""
        self._age.append(age_s)
        self._value.append(value)
        if age_s - self._thought_s >= self.tuning.think_every_s and not self._queue:
            self._thought_s = age_s
            self._think(age_s)

    def moved(self, age_s: float, counts: int) -> None:
        """The trim has moved."""
        self._note_step(age_s, counts, 0)

    def pressed(self, age_s: float, key: str, times: int) -> None:
        """A key was pressed."""
        keys = self.spec.keys or Keys()
        if key == "coarse":
            self._note_step(age_s, times * keys.coarse_counts, times)
        else:
            self._note_step(age_s, times, 0)

    def released(self, on_s: float) -> None:
        """RF is off, asked for or not."""
        self._on = False
        self._heat = 1 - (1 - self._heat) * float(np.exp(-on_s / 8.0))
        if self._fit is not None:
            self.knowledge = _carried(self._fit.knowledge())

    def rested(self, rest_s: float) -> None:
        """RF has been off for so long."""
        self._heat *= float(np.exp(-rest_s / 15.0))

    def next_action(self) -> Action:
        """What to do now."""
        if self._queue:
            return self._queue.popleft()
        if self._on:
            return Sample()
        if self._end is not None:
            return self._end
        if self._activations >= self.tuning.most_activations:
            return self._give_up("undecided", "no confirmation within the activations allowed")
        return Activate()

    # bookkeeping

    def _place(self) -> tuple[float, float, float, float]:
        return (1.0, self._counts, self._coarse, self._counts**2 / 200)

    def _note_step(self, age_s: float, counts: int, coarse: int) -> None:
        before = self._place()
        self._counts += counts
        self._coarse += coarse
        if self._on:
            after = self._place()
            self._at_s.append(age_s)
            self._weights.append(
                (0.0, after[1] - before[1], after[2] - before[2], after[3] - before[3])
            )
            self._moved_s = age_s

    def _vector(self, counts: int = 0, coarse: int = 0) -> Floats:
        n, c = self._counts + counts, self._coarse + coarse
        return np.array([1.0, n, c, n * n / 200, 0, 0, 0, 0])

    def _record(self) -> Record:
        target = self.spec.target
        return Record(
            age_s=np.array(self._age),
            relative=np.array(self._value) / target,
            steps=Steps(np.array(self._at_s), np.array(self._weights)),
            window_s=self.spec.window_s,
            resolution=self.spec.resolution / target,
            at_age_s=self.spec.at_age_s,
            heat=self._heat,
        )

    # deciding

    def _think(self, age_s: float) -> None:
        late = age_s > self.spec.timeout_s - self.tuning.margin_s
        if self._confirming:
            if age_s >= self._next_look_s or late:
                self._confirm(age_s, late)
        else:
            self._adjust(age_s, late)

    def _confirm(self, age_s: float, late: bool) -> None:
        fit = self._fit_alone(hunting=False)
        if fit is not None:
            look, lag_s = self._look(fit), float(np.exp(fit.start.dynamics[0]))
            verdict = look.says(self.bounds)
            if verdict is Confirmation.ACCEPT or self._hunting_may_explain(look, age_s):
                if self._accept():
                    return
                self._next_look_s = age_s + 0.4
            elif verdict is Confirmation.REFUSE or self._hopeless(look, age_s):
                self._confirming = False
                self._start = None
                self._adjust(age_s, late)
                return
            else:
                self._next_look_s = age_s + look.wait_s(self.bounds, lag_s)
        if late or self._looked_s(age_s) > self.tuning.longest_patience_s:
            self._release_to_confirm()

    def _hunting_may_explain(self, look: Look, age_s: float) -> bool:
        """Whether it is worth asking if swings that widen the estimate are hunting."""
        if look.remainder > 0.5 * self.bounds.remainder or look.within < 0.97:
            return False
        return self._looked_s(age_s) > self.tuning.least_patience_s

    def _accept(self) -> bool:
        """Accept if hunting is thought of too and the tail by itself agrees."""
        careful = self._fit_alone(hunting=True)
        if careful is None or self._look(careful).says(self.bounds) is not Confirmation.ACCEPT:
            return False
        tail = fit_tail(
            np.array(self._age),
            np.array(self._value),
            at_age_s=self.spec.at_age_s,
            window_s=self.spec.window_s,
            resolution=self.spec.resolution,
            heat=self._heat,
        )
        if tail is None:
            return False
        value = self._place_of(careful)
        off = abs(tail.value.mean / self.spec.target - value.mean)
        spread = tail.value.sd / self.spec.target
        if off > self.tuning.tail_agrees * spread + 0.1 * self.tolerance:
            return False
        target = self.spec.target
        self._end = Finish("pass", "", target * value.mean, target * value.sd)
        self._queue.append(Release(0.0))
        return True

    def _fit_alone(self, *, hunting: bool) -> Transient | None:
        """The confirmation's own readings and nothing learned before."""
        self.looks += 1
        record = self._record()
        here = Steps(np.zeros(1), np.array([[1.0, 0.0, 0.0, 0.0]]))
        noise = replace(self.noise, hunting=self._hunting)
        fit = fit_transient(
            replace(record, steps=here), self._alone, noise, self._start, hunting=hunting
        )
        if fit is not None:
            self._start = fit.start
        return fit

    def _place_of(self, fit: Transient) -> Mixture:
        t = self.tuning
        value = fit.combination(np.eye(8)[0])
        return value.widened(t.model_factor, t.model_floor * self.tolerance)

    def _look(self, fit: Transient) -> Look:
        value = self._place_of(fit).rescaled(1.0, self.tolerance)
        return Look(value, fit.remainder / self.tolerance)

    def _hopeless(self, look: Look, age_s: float) -> bool:
        """Whether moving and confirming anew is likely to be quicker than looking on."""
        t = self.tuning
        if self._stubborn or look.remainder > self.bounds.remainder:
            return False
        if not self._improvable(abs(look.value.mean)):
            return False
        off, sd = abs(look.value.mean), look.value.sd
        return 1 - off < t.hopeless * sd or self._looked_s(age_s) > self._patience_s()

    def _improvable(self, off: float) -> bool:
        """Whether a move could bring the output clearly nearer than `off` tolerances."""
        gain = abs(float(self.knowledge.mean[1])) / self.tolerance
        gain_sd = float(np.sqrt(self.knowledge.covariance[1, 1])) / self.tolerance
        if gain < self.tuning.gain_seen * gain_sd:
            return False
        return abs(off - gain * round(off / gain)) < off - 0.2

    def _looked_s(self, age_s: float) -> float:
        """For how long the lag has been gone."""
        lag_s, dead_s = np.exp(self.knowledge.mean[5:7])
        return float(age_s - dead_s - 5 * lag_s)

    def _patience_s(self) -> float:
        """What another confirmation would cost: so long it pays to look on."""
        lag_s, dead_s = np.exp(self.knowledge.mean[5:7])
        t = self.tuning
        return max(t.least_patience_s, float(t.patience * (2 * dead_s + 8 * lag_s)))

    def _adjust(self, age_s: float, late: bool) -> None:
        fit = self._refit(hunting=False)
        if fit is None:
            if late:
                self._give_up("not adjustable", "no output")
            return
        here = fit.combination(self._vector())
        gain, gain_sd = self._gain(fit)
        seen = abs(gain) > self.tuning.gain_seen * gain_sd
        counts = self._wished(here.mean, here.sd, gain, gain_sd) if seen else 0
        if late or self._in_tolerance(fit, counts):
            if counts != 0:
                self._move(counts, fit)
            elif self._was_confirmation():
                self._resume_confirmation(age_s)
                return
            self._release_to_confirm()
        elif not seen:
            self._probe(age_s, fit, here.sd)
        elif counts != 0 and age_s - self._moved_s >= self._dead_s(fit):
            self._move(counts, fit)

    def _wished(self, here: float, here_sd: float, gain: float, gain_sd: float) -> int:
        """Counts to move: fewer, the less sure the gain."""
        t, error = self.tuning, 1.0 - here
        counts = error * gain / (gain**2 + gain_sd**2 / 2)
        if abs(error) < t.worth * here_sd or abs(error) < t.good * self.tolerance:
            return 0
        return round(self._capped(counts, here, abs(gain) + 2 * gain_sd))

    def _was_confirmation(self) -> bool:
        return self._released_for_confirmation and len(self._at_s) == 1

    def _resume_confirmation(self, age_s: float) -> None:
        self._confirming, self._stubborn = True, True
        self._start = None
        self._next_look_s = age_s + 0.3

    def _refit(self, *, hunting: bool) -> Transient | None:
        self.fits += 1
        fit = fit_transient(
            self._record(), self.knowledge, self.noise, self._start, hunting=hunting
        )
        if fit is not None:
            self._fit, self._start = fit, fit.start
        return fit

    def _gain(self, fit: Transient) -> tuple[float, float]:
        gain = fit.combination(np.eye(8)[1])
        return gain.mean, gain.sd

    def _dead_s(self, fit: Transient) -> float:
        return float(np.exp(fit.start.dynamics[1])) + 0.5 * self.spec.window_s

    def _in_tolerance(self, fit: Transient, counts: int) -> bool:
        """Whether the output, moved by `counts`, will probably be in tolerance, hunting or not."""
        there = self._vector(counts)
        if not self._lands(fit.combination(there)):
            return False
        careful = self._refit(hunting=True)
        if careful is None:
            return False
        self._hunting = float(np.clip(careful.hunting, 0.05, 0.95))
        return self._lands(careful.combination(there))

    def _lands(self, value: Mixture) -> bool:
        t, tol = self.tuning, self.tolerance
        inner = t.inner * tol
        return (
            value.within(1 - tol, 1 + tol) >= t.release
            and value.within(1 - inner, 1 + inner) >= t.release_inner
        )

    def _release_to_confirm(self) -> None:
        self._released_for_confirmation = True
        self._queue.append(Release(self.spec.rest_s))

    def _probe(self, age_s: float, fit: Transient, level_sd: float) -> None:
        """A step out, sized so that even the largest gain still thinkable keeps the excursion."""
        t = self.tuning
        gain, gain_sd = self._gain(fit)
        error = 1 - fit.combination(self._vector()).mean
        if self._probes == 0:
            if level_sd <= t.probe_level_sd * self.tolerance:
                sign = 1 if error * gain >= 0 else -1
                self._step_out(sign, self.spec.largest_gain / self.spec.target, error)
            return
        lag_s, dead_s = np.exp(fit.start.dynamics[:2])
        if age_s - self._moved_s < dead_s + 1.5 * lag_s + 0.5 * self.spec.window_s:
            return
        largest = abs(gain) + 2 * gain_sd
        if self._probes >= 2 and (
            self._probes >= t.most_probes or largest < self.tolerance * t.least_gain
        ):
            self._give_up("not adjustable", "the trim has no effect")
            return
        self._step_out(1 if self._counts >= 0 else -1, largest, error)

    def _step_out(self, sign: int, largest_gain: float, error: float) -> None:
        t, keys = self.tuning, self.spec.keys
        room = min(t.probe_excursion, max(t.excursion_cap - abs(error), 0.3 * t.probe_excursion))
        counts = int(room / largest_gain)
        counts = min(max(1, counts), 120)
        self._probes += 1
        if keys is None:
            self._queue.append(Move(sign * counts))
        elif counts >= keys.coarse_counts * 0.9:
            self._queue.append(Press("coarse", sign * round(counts / keys.coarse_counts)))
        else:
            self._queue.append(Press("fine", sign * min(counts, 4)))

    def _capped(self, counts: float, now: float, gain: float) -> float:
        room = self.tuning.excursion_cap + abs(1 - now)
        return float(np.clip(counts, -room / gain, room / gain))

    def _move(self, counts: int, fit: Transient) -> None:
        if counts == 0:
            return
        keys = self.spec.keys
        if keys is None:
            self._queue.append(Move(counts))
            return
        gain, _ = self._gain(fit)
        size = keys.coarse_counts + fit.combination(np.eye(8)[2]).mean / gain
        size = float(np.clip(size, 0.6 * keys.coarse_counts, 1.5 * keys.coarse_counts))
        coarse = round(counts / size)
        if coarse != 0:
            self._queue.append(Press("coarse", coarse))
            return
        self._queue.append(Press("fine", round(counts - coarse * size)))

    def _give_up(self, verdict: str, reason: str) -> Action:
        if self._on:
            self._queue.append(Release(0.0))
        self._restore()
        self._end = Finish("undecided" if verdict == "undecided" else "not adjustable", reason)
        return self._queue.popleft() if self._queue and not self._on else self._end

    def _restore(self) -> None:
        keys = self.spec.keys
        if keys is None:
            if self._counts != 0:
                self._queue.append(Move(-self._counts))
            return
        fine = self._counts - self._coarse * keys.coarse_counts
        if self._coarse != 0:
            self._queue.append(Press("coarse", -self._coarse))
        if fine != 0:
            self._queue.append(Press("fine", -fine))


def _carried(knowledge: Knowledge) -> Knowledge:
    """What is still believed in the next activation: a little less of everything."""
    extra = np.array([1e-3, 0, 0, 0, 1e-3, 0.05, 0.05, 0.2]) ** 2
    return Knowledge(knowledge.mean, knowledge.covariance + np.diag(extra))
