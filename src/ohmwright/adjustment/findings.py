"""What the activations so far have shown of one point, beyond its coefficients."""

from __future__ import annotations

import numpy as np

from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.mixture import Mixture

from .actions import Action
from .activation_log import ActivationLog
from .backlash import Backlash
from .best_place import PlacesSeen
from .confirmation import Confirmation
from .parameters import PriorChecks
from .step_sizing import StepSizer
from .unit_estimator import UnitEstimator

_SHOWN_AFTER_LAGS = 1.0
"""A place counts as seen once the last move had so long to show."""


class Findings:
    """Places seen, confirmations left undecided, and where the output was not as foretold.

    `undecided`: estimates, in tolerances, of the confirmations at this place of the trim that ended
    undecided; `refuted_here`: confirmations refuted there; `surprises`: outputs that were not as
    foretold; `latest`: the latest confirmation's estimate.
    """

    def __init__(self, checks: PriorChecks, sizer: StepSizer, estimator: UnitEstimator) -> None:
        self._checks, self._sizer, self._estimator = checks, sizer, estimator
        self.backlash = Backlash(sizer)
        self.places = PlacesSeen()
        self.undecided: list[Mixture] = []
        self.refuted_here = 0
        self.surprises = 0
        self.latest: Mixture | None = None

    def note_moved(self, counts: int) -> None:
        """The trim was moved: what was said of the old place holds no more."""
        self.undecided.clear()
        self.refuted_here = 0
        self.backlash.note_moved(counts)

    def note_undecided(self, confirmation: Confirmation, log: ActivationLog) -> None:
        """A confirmation ended undecided."""
        estimate = confirmation.estimate_with_departures(log)
        if estimate is not None:
            self.undecided.append(estimate)
            self.learn(estimate, refuted=False)
            self._estimator.fit()

    def learn(self, seen: Mixture | None, *, refuted: bool) -> None:
        """Forget what foretold another output than a confirmation has `seen`, in tolerances."""
        self.latest = seen
        self.refuted_here += refuted
        if seen is None:
            return
        prior, tolerance = self._estimator.prior, self._sizer.tolerance
        foretold = (prior.mean_of(Coefficient.LEVEL) - 1) / tolerance
        foretold_sd = prior.sd_of(Coefficient.LEVEL) / tolerance
        surprise, sd = seen.mean - foretold, float(np.hypot(seen.sd, foretold_sd))
        unlikely = self._checks.surprise_sds * sd
        if abs(surprise) > self._checks.hunting_sds * sd:
            self._estimator.note_jump(surprise * tolerance)
        if refuted or abs(surprise) > unlikely:
            self.surprises += abs(surprise) > unlikely
            gain = prior.mean_of(Coefficient.GAIN)
            self.backlash.note_surprise(surprise * tolerance, gain)
            self._estimator.forget_all_but_gain()

    def note_foretold(self) -> None:
        """Note the output that is foretold where the trim stands, before RF is on there."""
        prior, trim = self._estimator.prior, self._sizer.trim
        level, sd = prior.mean_of(Coefficient.LEVEL), prior.sd_of(Coefficient.LEVEL)
        output = Mixture(np.ones(1), np.array([level]), np.array([sd]), np.inf)
        self.places.expect(trim.counts, trim.coarse, output)

    def note_places(self, log: ActivationLog, confirmation: Confirmation | None) -> None:
        """Note the output that an activation showed where the trim began and where it stands."""
        trim = self._sizer.trim
        if confirmation is not None:
            value = confirmation.value
            if value is not None:
                relative = value.rescaled(0.0, self._sizer.spec.question.target)
                self.places.note(trim.counts, trim.coarse, relative)
        elif (fit := self._estimator.fit_with_departures()) is not None:
            self.places.note(*trim.origin, fit.coefficient(Coefficient.LEVEL))
            shown_s = self._estimator.visible_after_s(fit, _SHOWN_AFTER_LAGS)
            if log.undisturbed_s >= shown_s:
                output = fit.combination(trim.output_after(None))
                self.places.note(trim.counts, trim.coarse, output)

    def ways(self, move: Action) -> list[Action]:
        """The actions of a move, from the side from which the trim is brought to its places."""
        gain = abs(self._estimator.prior.mean_of(Coefficient.GAIN))
        spec = self._sizer.spec
        largest = max(self._sizer.seen_gain, gain) or spec.largest_gain / spec.question.target
        return self.backlash.run_up(move, largest)
