"""What ends an adjustment, or sends it back: an output out of bounds, a target out of reach."""

from __future__ import annotations

from ohmwright.estimation.mixture import Mixture

from .actions import Action
from .parameters import Parameters
from .step_sizing import StepSizer


class RunawayCheck:
    """Watches the estimates of one point; relative to its target."""

    def __init__(self, parameters: Parameters, sizer: StepSizer) -> None:
        self._parameters, self._sizer = parameters, sizer
        self._cap = parameters.runaway if sizer.spec.keys is None else parameters.key_runaway
        self._first_off: float | None = None
        self.runaways = 0

    def runs_away(self, here: Mixture) -> bool:
        """Whether moves have brought the output far beyond where it was at the start."""
        off = abs(1 - here.mean)
        if self._first_off is None:
            self._first_off = off
        away = self._sizer.trim.moves > 0 and off >= self._first_off + self._cap
        self.runaways += away
        return away

    def why_out_of_reach(
        self, here: Mixture, gain: Mixture, move: Action | None, *, refuted: bool
    ) -> str | None:
        """Why the target cannot be reached, where that is plain; None where it may be.

        `refuted`: a confirmation of its own has just shown the output out of tolerance.
        """
        tol = self._sizer.tolerance
        if move is not None or here.within(1 - tol, 1 + tol) > self._parameters.out_of_reach:
            return None
        if self._sizer.at_the_end(here, gain):
            return "the trim's range ends before the target"
        if refuted and abs(gain.mean) > tol:
            return "no count brings it into tolerance"
        return None
