"""When an adjustment returns to its start or is given up: runaway output, unreachable target."""

from __future__ import annotations

from ohmwright.estimation.mixture import Mixture

from .actions import Action
from .activation_log import ActivationLog
from .parameters import Parameters
from .step_sizing import StepSizer

RANGE_ENDS = "the trim's range ends before the target"
"""Reason for giving up a point that no count of its trim would bring to its target."""
_ON_ITS_WAY = 0.3
"""Part of the way out of bounds that a reading must have gone before a runaway is decided."""


class RunawayCheck:
    """Checks the estimates of one point; outputs are relative to its target, gains per count.

    `runaways`: how often moves have brought the output out of bounds so far.
    """

    def __init__(self, parameters: Parameters, sizer: StepSizer) -> None:
        self._bounds, self._sizer = parameters.giving_up, sizer
        self._away = (
            self._bounds.runaway_relative
            if sizer.spec.keys is None
            else self._bounds.key_runaway_relative
        )
        self._first_error: float | None = None
        self._overshoot = 0.0
        """By how much readings have lain above the target with the trim at its start: the rise, and
        not a move, does that."""
        self.runaways = 0

    def is_runaway(self, output: Mixture, log: ActivationLog) -> bool:
        """Whether moves have brought the output far beyond its error at the start.

        The latest reading of `log` must be on its way there.
        """
        error = output.mean - 1
        if self._first_error is None:
            self._first_error = abs(error)
        if self._sizer.trim.origin == (0, 0) and log.undisturbed:
            self._overshoot = max(self._overshoot, log.highest - 1)
            return False
        way = log.latest - 1 - self._overshoot if error > 0 else 1 - log.latest
        far = abs(error) >= self._first_error + self._away
        away = far and way >= _ON_ITS_WAY * self._away
        self.runaways += away
        return away

    def why_unreachable(
        self, output: Mixture, gain: Mixture, move: Action | None, *, refuted: bool
    ) -> str | None:
        """Why the target cannot be reached; None where there is a `move` or it may be reached.

        `refuted`: a confirmation has just shown the output out of tolerance.
        """
        tolerance = self._sizer.tolerance
        probability = output.probability_between(1 - tolerance, 1 + tolerance)
        if move is not None or probability > self._bounds.reachable_probability:
            return None
        if self._sizer.range_ends_before_target(output, gain):
            return RANGE_ENDS
        # counts that are nearer to each other than the limits leave one between them
        if refuted and abs(gain.mean) - 2 * gain.sd > 2 * tolerance:
            return "no count brings it into tolerance"
        return None
