"""One activation that may confirm: when to look, when to accept, when to look no further.

What was learned before decides only how long it pays to look; the answer is the watch's, which
knows this activation's own readings and nothing else.
"""

from __future__ import annotations

from typing import Literal

import numpy as np

from ohmwright.estimation.decision import Bounds, Look
from ohmwright.estimation.droop import LeftOver
from ohmwright.estimation.knowledge import GAIN, Knowledge
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import Question
from ohmwright.estimation.watching import Watch

from .activation_log import ActivationLog
from .tuning import Tuning

Outcome = Literal["look on", "accept", "refuted", "move on", "release"]


class Confirmation:
    """Looks at one activation. `hunting`: how likely the unit is thought to hunt.

    `choosy`: whether a landing that could be much better is not accepted.
    """

    def __init__(
        self,
        question: Question,
        tuning: Tuning,
        bounds: Bounds,
        *,
        left: LeftOver,
        hunting: float,
        choosy: bool = False,
    ) -> None:
        self.tuning, self.bounds = tuning, bounds
        self._tolerance = question.tolerance / question.target
        self._watch = Watch(question, bounds, left=left, hunting=hunting)
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
        self, log: ActivationLog, knowledge: Knowledge, age_s: float, *, late: bool
    ) -> Outcome:
        """What the readings so far call for."""
        if age_s < self._next_look_s and not late:
            return "look on"
        look = self._watch.look(*log.readings)
        looked_s = age_s - knowledge.dead_s - 5 * knowledge.lag_s
        outcome: Outcome = "look on"
        if look is not None:
            outcome = self._weighed(look, log, knowledge, age_s, looked_s)
        tired = looked_s > self.tuning.longest_patience_s
        return "release" if outcome == "look on" and (late or tired) else outcome

    def _weighed(
        self, look: Look, log: ActivationLog, knowledge: Knowledge, age_s: float, looked_s: float
    ) -> Outcome:
        answer = look.answer(self.bounds)
        if answer in ("too low", "too high"):
            return "refuted"
        if answer == "undecided" and not self._hunting_may_explain(look, looked_s):
            self._next_look_s = age_s + look.wait_s(self.bounds)
            return "move on" if self._hopeless(look, knowledge, looked_s) else "look on"
        if self._watch.answer(*log.readings) == "in tolerance":
            return "move on" if self._could_be_better(look, knowledge) else "accept"
        return "move on" if self._in_doubt_for_long(look, knowledge, looked_s) else "look on"

    def _could_be_better(self, look: Look, knowledge: Knowledge) -> bool:
        off = abs(look.value.mean)
        if not self._choosy or self._stubborn or off <= self.tuning.well_landed:
            return False
        return self._improvable(off, knowledge)

    def _hunting_may_explain(self, look: Look, looked_s: float) -> bool:
        """Whether it is worth asking if swings that widen the estimate are hunting."""
        if look.remainder > 0.5 * self.bounds.remainder or look.within < 0.97:
            return False
        return looked_s > self.tuning.least_patience_s

    def _hopeless(self, look: Look, knowledge: Knowledge, looked_s: float) -> bool:
        """Whether moving and confirming anew is likely to be quicker than looking on."""
        if not self._nearer_can_be_reached(look, knowledge):
            return False
        unlikely = 1 - abs(look.value.mean) < self.tuning.hopeless * look.value.sd
        return unlikely or looked_s > self._patience_s(knowledge)

    def _in_doubt_for_long(self, look: Look, knowledge: Knowledge, looked_s: float) -> bool:
        """The same where only the thought of hunting stands against accepting."""
        long_s = self.tuning.patience_in_doubt * self._patience_s(knowledge)
        return looked_s > long_s and self._nearer_can_be_reached(look, knowledge)

    def _nearer_can_be_reached(self, look: Look, knowledge: Knowledge) -> bool:
        if self._stubborn or look.remainder > self.bounds.remainder:
            return False
        return self._improvable(abs(look.value.mean), knowledge)

    def _improvable(self, off: float, knowledge: Knowledge) -> bool:
        """Whether a move could bring the output clearly nearer than `off` tolerances."""
        gain = abs(float(knowledge.mean[GAIN])) / self._tolerance
        gain_sd = float(np.sqrt(knowledge.covariance[GAIN, GAIN])) / self._tolerance
        if gain < self.tuning.gain_seen * gain_sd:
            return off > self.tuning.inner
        return abs(off - gain * round(off / gain)) < off - 0.2

    def _patience_s(self, knowledge: Knowledge) -> float:
        """What another confirmation would cost: so long it pays to look on."""
        again_s = 2 * knowledge.dead_s + 8 * knowledge.lag_s
        return max(self.tuning.least_patience_s, self.tuning.patience * again_s)
