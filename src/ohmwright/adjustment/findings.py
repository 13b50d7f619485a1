"""What the activations so far have shown of one point, beyond its coefficients."""

from __future__ import annotations

from math import hypot
from typing import NamedTuple

import numpy as np

from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture

from .actions import Action
from .activation_log import ActivationLog
from .backlash import Backlash
from .best_place import PlacesSeen
from .confirmation import Confirmation
from .parameters import PriorChecks
from .step_sizing import StepSizer
from .unit_estimator import UnitEstimator

_EARLY = 0.5
"""An output may still be rising if it was seen before this part of the age up to which the
activation was read by which it was predicted; no source."""
_SHOWN_AFTER_LAGS = 1.0
"""Time from the last move, in lags, from which the output at a place counts as seen; no source."""


class _Suspicions(NamedTuple):
    """What the unit was suspected of before an output that was not as predicted."""

    play: tuple[int, float]
    """How often the trim's play lost counts, and its size in counts."""
    surprises: int
    """See `Findings`."""
    habits: Habits
    """The estimator's: whether the unit hunts or rises in another shape."""
    patience_s: float
    """The estimator's: time waited after each move beyond what it seems to need."""


class Findings:
    """Places seen, confirmations left undecided, and outputs that were not as predicted."""

    def __init__(self, checks: PriorChecks, sizer: StepSizer, estimator: UnitEstimator) -> None:
        self._checks, self._sizer, self._estimator = checks, sizer, estimator
        self.backlash = Backlash(sizer)
        self.places = PlacesSeen(sizer.tolerance)
        self.undecided: list[Mixture] = []
        """Estimates, in tolerances, of confirmations that ended undecided where the trim stands."""
        self.refuted_here = 0
        """Confirmations that were refuted where the trim stands."""
        self.surprises = 0
        """Outputs that were not as predicted."""
        self.bends = 0
        """Confirmations whose output sank on after the age asked for, as no droop does."""
        self.latest: Mixture | None = None
        """Estimate of the latest confirmation, in tolerances."""
        self.warmth_uncertainty = 0.0
        """Standard uncertainty by the warmth that the latest activation began with, relative to the
        target: it is common to all places, and tells less of which one is nearest."""
        self._before_surprise: _Suspicions | None = None
        self._predicted_from_s = 0.0
        """Age up to which the activation was read whose readings predict the next output."""

    def note_moved(self, counts: int) -> None:
        """The trim was moved: confirmations at the old place do not count any more."""
        self.undecided.clear()
        self.refuted_here = 0
        self.backlash.note_moved(counts)

    def note_undecided(self, confirmation: Confirmation, log: ActivationLog) -> None:
        """Keep the estimate of a confirmation that ended undecided, and learn from it."""
        estimate = confirmation.estimate_with_departures(log)
        if estimate is not None:
            self.undecided.append(estimate)
            self.learn(estimate, log.latest_s, refuted=False)
            self._estimator.fit()  # by that, what the readings contradict of the prior is dropped

    def learn(self, seen: Mixture | None, age_s: float, *, refuted: bool) -> None:
        """Take the output that a confirmation has `seen`, in tolerances, at `age_s`.

        Where it is not as predicted, or is `refuted`, as it was surely out of tolerance, all that
        predicted it but the gain is dropped. One seen much earlier than the readings that predicted
        it may still be rising in a shape of its own.
        """
        self.latest = seen
        self.refuted_here += refuted
        if seen is None:
            return
        prior, tolerance = self._estimator.prior, self._sizer.tolerance
        self._before_surprise = self._suspicions
        predicted = (prior.mean_of(Coefficient.LEVEL) - 1) / tolerance
        predicted_sd = prior.sd_of(Coefficient.LEVEL) / tolerance
        error, sd = seen.mean - predicted, float(np.hypot(seen.sd, predicted_sd))
        surprising = abs(error) > self._checks.surprise_sds * sd
        if abs(error) > self._checks.hunting_sds * sd:
            self._estimator.note_jump(error * tolerance)
            if age_s < _EARLY * self._predicted_from_s:
                self._estimator.note_other_rise()
        if refuted or surprising:
            self.surprises += surprising
            gain = prior.mean_of(Coefficient.GAIN)
            self.backlash.note_misprediction(error * tolerance, gain)
            self._estimator.forget_all_but_gain()
            self._estimator.believe_levels(1 + tolerance * seen.mean, tolerance * seen.sd)

    @property
    def _suspicions(self) -> _Suspicions:
        """What the unit is suspected of now."""
        play = self.backlash.losses, self.backlash.play_counts
        return _Suspicions(play, self.surprises, self._estimator.habits, self._estimator.patience_s)

    def forget_surprise(self) -> None:
        """Suspect the unit of no more than before this activation: its output is explained."""
        before, self._before_surprise = self._before_surprise, None
        if before is None:
            return
        self.backlash.losses, self.backlash.play_counts = before.play
        self.surprises = before.surprises
        self._estimator.habits, self._estimator.patience_s = before.habits, before.patience_s

    def note_predicted(self) -> None:
        """Note the output that is predicted where the trim stands, before RF is on there."""
        self._before_surprise = None
        prior, trim = self._estimator.prior, self._sizer.trim
        level, sd = prior.mean_of(Coefficient.LEVEL), prior.sd_of(Coefficient.LEVEL)
        sd = hypot(sd, self.warmth_uncertainty)
        output = Mixture(np.ones(1), np.array([level]), np.array([sd]), np.inf)
        self.places.expect(trim.counts, trim.coarse, output)

    def note_places(self, log: ActivationLog, confirmation: Confirmation | None) -> None:
        """Note the output that an activation showed where the trim began and where it stands."""
        trim = self._sizer.trim
        self._predicted_from_s = log.latest_s
        if confirmation is not None:
            value = confirmation.value
            if value is not None:
                relative = value.rescaled(0.0, self._sizer.spec.question.target)
                self.places.note_measured(trim.counts, trim.coarse, relative)
        elif (fit := self._estimator.fit_with_departures()) is not None:
            warmth = self.warmth_uncertainty
            self.places.note_seen(*trim.origin, fit.level(warmth))
            shown_s = self._estimator.visible_after_s(fit, _SHOWN_AFTER_LAGS)
            if log.undisturbed_s >= shown_s:
                unseen = hypot(fit.extrapolation, warmth)
                output = fit.combination(trim.output_after(None)).widened(1.0, unseen)
                self.places.note_seen(trim.counts, trim.coarse, output)

    def with_run_up(self, move: Action) -> list[Action]:
        """The actions that carry out a move, with a run-up where the trim has play."""
        gain = abs(self._estimator.prior.mean_of(Coefficient.GAIN))
        spec = self._sizer.spec
        largest = max(self._sizer.seen_gain, gain) or spec.largest_gain / spec.question.target
        return self.backlash.run_up(move, largest)
