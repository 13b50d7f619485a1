"""Presses on cue: watches the readings for them, and tells the policy what the meter showed."""

from __future__ import annotations

from ohmwright.adjustment.point import Keys
from ohmwright.estimation.activation_record import FitStart
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.prior import NoisePrior
from ohmwright.estimation.transient_estimate import fit_transient

from .actions import Press
from .policy import AdjustPolicy
from .press_hypotheses import (
    OTHER_SIGN,
    Suspect,
    counts_of,
    suspects_after,
    suspects_of,
    suspects_of_direction,
)
from .press_seen import PressesSeen
from .press_watch import PressWatch
from .press_weighing import PressRequest

_ANY_LEVEL = (1.0, 0.1)
"""Mean and standard deviation, in targets, of the level of a new activation before its readings:
wide, since a slip may have moved it. Under this prior its dynamics are found; no source."""
_OTHER_SIGN = Suspect(-1.0, 0, 0, "as asked", OTHER_SIGN)
"""The suspicion that all was done as asked, and that the gain has the other sign than was learned.
"""
_MOST_ANY_WAY, _MOST_IN_DOUBT, _MOST = 1, 3, 6
"""Most presses of one key at a time: while they may go either way, while the presses that showed
the gain are in doubt, and after that; no source."""
_EITHER_WAY = 0.2
"""Probability that the gain has the other sign from which presses may go either way; no source."""


class PressReports:
    """The presses that one point's policy asks for, watched for and reported as they show.

    The policy is told of presses at the age at which they were made, whether a person said so or
    the readings show it.
    """

    def __init__(self, policy: AdjustPolicy, keys: Keys) -> None:
        self.policy, self._keys = policy, keys
        self.watch: PressWatch | None = None
        """What is looked for now; None where nothing is."""
        self._suspects: tuple[Suspect, ...] = ()
        """What may have been done at an earlier cue; empty where nothing is in doubt."""
        self._suspect_step: int | None = None
        """The step of the present activation to which the suspects belong; None: an earlier one."""
        self._other_sign = _OTHER_SIGN
        self._start: FitStart | None = None
        """Where the fit under `_ANY_LEVEL` ended last, from which the next one begins."""

    def at_most(self, press: Press) -> Press:
        """Return as many of the presses as may be asked for at once, by what is known so far."""
        most = _MOST_IN_DOUBT if self._suspects else _MOST
        if any(one.gain_ratio < 0 and one.probability > _EITHER_WAY for one in self._suspects):
            most = _MOST_ANY_WAY
        return _no_more(press, most)

    def twice(self, press: Press) -> Press:
        """Return twice as many presses, for ones that did too little to be told from nothing."""
        return _no_more(Press(press.key, 2 * press.times), _MOST)

    def cued(self, press: Press, age_s: float) -> None:
        """RF is on, and `press` is asked for at `age_s`: look for it from now on."""
        fit, trim = self.policy.estimator.fit(), self.policy.trim
        prior = self.policy.estimator.prior if fit is None else fit.as_prior()
        position = trim.counts_from_origin, trim.coarse - trim.origin[1]
        request = PressRequest((press,), self._keys, position, age_s, self._suspects)
        self.watch = PressWatch(request, prior)

    def activated(self, presses: tuple[Press, ...]) -> None:
        """RF has come on, `presses` asked for with RF off and reported as asked: look for them."""
        self._suspect_step, self._start = None, None
        prior = self.policy.estimator.prior
        self.watch = None
        if presses:
            request = PressRequest(presses, self._keys, (0, 0), None, self._suspects)
            self.watch = PressWatch(request, prior)

    def look(self) -> PressesSeen | None:
        """Return the presses that the readings show, once they decide it; None before."""
        watch, log = self.watch, self.policy.log
        if watch is None or log.steps == 0:
            return None
        if watch.cue_s is not None:
            fit = self.policy.estimator.latest_fit
        else:
            prior = self.policy.estimator.prior.with_coefficient(Coefficient.LEVEL, *_ANY_LEVEL)
            fit = fit_transient(log.record(), prior, NoisePrior(), self._start)
            self._start = None if fit is None else fit.start
        if fit is None:
            return None
        return watch.read(log.record(), fit.start, fit.autocorrelation)

    @property
    def knows_its_keys(self) -> bool:
        """Whether it is known what the keys do whose presses are looked for."""
        return self.watch is not None and self.watch.gain_known

    @property
    def probably_nothing(self) -> bool:
        """Whether probably none of the presses looked for was made, by the readings so far."""
        seen = None if self.watch is None else self.watch.at_the_end()
        return seen is None or not seen.presses

    def report(self, seen: PressesSeen) -> None:
        """Tell the policy what was seen; what it shows of an earlier cue is corrected first."""
        watch, self.watch = self.watch, None
        if watch is None:
            return
        before_rf = watch.cue_s is None
        if seen.suspect is not None:
            self._correct(seen.suspect)
        if seen.suspect is not None or (before_rf and seen.done != "as asked"):
            self.policy.note_other_presses()
        step = None if before_rf else self.policy.log.steps
        if before_rf:
            self._correct_asked(watch.asked, seen)
        else:
            for age_s, press in seen.presses:
                self.policy.pressed(age_s, press.key, press.times)
        self.policy.presses_over()
        self._note_doubts(watch, seen, step)

    def _note_doubts(self, watch: PressWatch, seen: PressesSeen, step: int | None) -> None:
        """Keep what the presses just reported leave in doubt.

        Presses that went the other direction leave open whether the gain has the other sign. Those
        by a gain that was known confirm or change earlier doubts. The first ones, by which the gain
        is learned, are in doubt themselves.
        """
        if seen.done == "other direction" and seen.suspect is None:
            done = tuple(press for _, press in seen.presses)
            before = next((each for each in seen.suspects if each.gain_ratio < 0), self._other_sign)
            self._suspects = suspects_of_direction(watch.asked, done, self._keys, before)
            self._suspect_step = step
        elif seen.presses and watch.gain_known:
            self._suspects = seen.suspects
            if seen.suspect is not None:
                self._suspects = suspects_after(seen.suspects, seen.suspect)
            doubt = min(OTHER_SIGN, self._other_sign.probability * seen.other_sign)
            self._other_sign = self._other_sign._replace(probability=doubt)
        elif seen.presses:
            self._suspects, self._suspect_step = suspects_of(watch.asked, self._keys), step
            self._other_sign = _OTHER_SIGN

    def leave_as_asked(self, seen: PressesSeen) -> None:
        """Presses before RF stay reported as asked, since the readings do not tell what was done.

        What they tell of an earlier cue is kept.
        """
        self.watch, self._suspects = None, seen.suspects

    def _correct(self, suspect: Suspect) -> None:
        """Correct an earlier cue that was done otherwise than was believed, and so the gain."""
        policy, step = self.policy, self._suspect_step
        before = step is None
        policy.trim.correct(suspect.counts, suspect.coarse, before_origin=before)
        policy.findings.places.forget_all_but_start()
        if step is None:
            policy.estimator.reinterpret_gain(suspect.gain_ratio)
        else:
            policy.log.correct_step(step, suspect.counts, suspect.coarse)
        self._suspects = ()

    def _correct_asked(self, asked: tuple[Press, ...], seen: PressesSeen) -> None:
        """Correct presses before RF, which were reported as asked, to those that were seen."""
        counts, coarse = counts_of(tuple(press for _, press in seen.presses), self._keys)
        asked_counts, asked_coarse = counts_of(asked, self._keys)
        self.policy.trim.correct(counts - asked_counts, coarse - asked_coarse, before_origin=True)


def _no_more(press: Press, most: int) -> Press:
    times = min(abs(press.times), most)
    return Press(press.key, times if press.times > 0 else -times)
