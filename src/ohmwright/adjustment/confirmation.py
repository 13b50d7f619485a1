"""One activation that may confirm: when to look, when to accept, when to look no further.

What was learned before decides only how long it pays to look; the answer is the watch's, which
knows this activation's own readings and nothing else.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from ohmwright.estimation.activation_test import ActivationTest
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import Question
from ohmwright.estimation.prior import GAIN, TransientPrior
from ohmwright.estimation.sequential_test import DecisionBounds, Estimate
from ohmwright.estimation.thermal_droop import ResidualWarmth

from .activation_log import ActivationLog
from .parameters import Parameters

Outcome = Literal["look on", "accept", "refuted", "move on", "release"]


class Confirmation:
    """Looks at one activation. `hunting`: how likely the unit is thought to hunt.

    `choosy`: whether a landing that could be much better is not accepted.
    """

    def __init__(
        self,
        question: Question,
        parameters: Parameters,
        bounds: DecisionBounds,
        *,
        left: ResidualWarmth,
        hunting: float,
        choosy: bool = False,
    ) -> None:
        self.parameters, self.bounds = parameters, bounds
        self._tolerance = question.tolerance / question.target
        self._watch = ActivationTest(question, bounds, left=left, hunting=hunting)
        self._next_look_s = 0.0
        self._stubborn = False
        self._choosy = choosy

    @property
    def value(self) -> Mixture | None:
        """The latest estimate, in the unit of the readings."""
        return self._watch.value

    def insist(self, age_s: float) -> None:
        """Look on whatever it seems to say: nothing nearer can be reached."""
        self._stubborn = True
        self._next_look_s = age_s + 0.3

    def think(
        self, log: ActivationLog, transient_prior: TransientPrior, age_s: float, *, late: bool
    ) -> Outcome:
        """What the readings so far call for."""
        if age_s < self._next_look_s and not late:
            return "look on"
        look = self._watch.look(*log.readings)
        looked_s = age_s - transient_prior.dead_s - 5 * transient_prior.lag_s
        outcome: Outcome = "look on"
        if look is not None:
            outcome = self._weighed(look, log, transient_prior, age_s, looked_s)
        tired = looked_s > self.parameters.longest_patience_s
        return "release" if outcome == "look on" and (late or tired) else outcome

    def _weighed(
        self,
        look: Estimate,
        log: ActivationLog,
        transient_prior: TransientPrior,
        age_s: float,
        looked_s: float,
    ) -> Outcome:
        answer = look.answer(self.bounds)
        if answer in ("too low", "too high"):
            return "refuted"
        if answer == "undecided" and not self._hunting_may_explain(look, looked_s):
            self._next_look_s = age_s + look.wait_s(self.bounds)
            return "move on" if self._hopeless(look, transient_prior, looked_s) else "look on"
        if self._watch.answer(*log.readings) == "in tolerance":
            return "move on" if self._could_be_better(look, transient_prior) else "accept"
        return "move on" if self._in_doubt_for_long(look, transient_prior, looked_s) else "look on"

    def _could_be_better(self, look: Estimate, transient_prior: TransientPrior) -> bool:
        off = abs(look.value.mean)
        if not self._choosy or self._stubborn or off <= self.parameters.well_landed:
            return False
        return self._improvable(off, transient_prior)

    def _hunting_may_explain(self, look: Estimate, looked_s: float) -> bool:
        """Whether it is worth asking if swings that widen the estimate are hunting."""
        if look.remainder > 0.5 * self.bounds.remainder or look.within < 0.97:
            return False
        return looked_s > self.parameters.least_patience_s

    def _hopeless(self, look: Estimate, transient_prior: TransientPrior, looked_s: float) -> bool:
        """Whether moving and confirming anew is likely to be quicker than looking on."""
        if not self._nearer_can_be_reached(look, transient_prior):
            return False
        unlikely = 1 - abs(look.value.mean) < self.parameters.hopeless * look.value.sd
        return unlikely or looked_s > self._patience_s(transient_prior)

    def _in_doubt_for_long(
        self, look: Estimate, transient_prior: TransientPrior, looked_s: float
    ) -> bool:
        """The same where only the thought of hunting stands against accepting."""
        long_s = self.parameters.patience_in_doubt * self._patience_s(transient_prior)
        return looked_s > long_s and self._nearer_can_be_reached(look, transient_prior)

    def _nearer_can_be_reached(self, look: Estimate, transient_prior: TransientPrior) -> bool:
        if self._stubborn or look.remainder > self.bounds.remainder:
            return False
        return self._improvable(abs(look.value.mean), transient_prior)

    def _improvable(self, off: float, transient_prior: TransientPrior) -> bool:
        """Whether a move could bring the output clearly nearer than `off` tolerances."""
        gain = abs(float(transient_prior.mean[GAIN])) / self._tolerance
        gain_sd = float(np.sqrt(transient_prior.covariance[GAIN, GAIN])) / self._tolerance
        if gain < self.parameters.gain_seen * gain_sd:
            return off > self.parameters.inner
        return abs(off - gain * round(off / gain)) < off - 0.2

    def _patience_s(self, transient_prior: TransientPrior) -> float:
        """What another confirmation would cost: so long it pays to look on."""
        again_s = 2 * transient_prior.dead_s + 8 * transient_prior.lag_s
        return max(self.parameters.least_patience_s, self.parameters.patience * again_s)
