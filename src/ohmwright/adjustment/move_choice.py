"""Which move the readings call for, by whoever told the gain: this unit, or others of its model."""

from __future__ import annotations

from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.prior import LEVEL
from ohmwright.estimation.transient_estimate import TransientEstimate

from .actions import Action
from .parameters import Parameters
from .step_sizing import FINE_GAIN, StepSizer, unit
from .unit_estimator import UnitEstimator


class MoveChooser:
    """Chooses moves of one point. Levels and gains are relative to the target, gains per count."""

    def __init__(self, parameters: Parameters, sizer: StepSizer, estimator: UnitEstimator) -> None:
        self._parameters, self._sizer, self._estimator = parameters, sizer, estimator

    def next_move(self, fit: TransientEstimate, here: Mixture, gain: Mixture) -> Action | None:
        """The next move towards the target, None where none is worth it."""
        own = self._estimator.is_own(gain)
        unsure = abs(1 - here.mean) < self._parameters.unseen_worth * here.sd
        if not own and unsure and self._sizer.trim.counts == 0:
            return None
        most = None if own else self._most_unseen(fit, gain)
        spare = self._sizer.spare(here, own=own)
        return self._sizer.towards(here, gain, fit.combination(FINE_GAIN), spare, most)

    def is_stuck(self, here: Mixture, gain: Mixture, move: Action | None, *, first: bool) -> bool:
        """Whether a gain that this unit never showed says that no count does any good.

        `first`: in the first activation, which is content with less.
        """
        sizer, estimator = self._sizer, self._estimator
        untried = estimator.borrowed and sizer.trim.counts == 0 and not estimator.is_own(gain)
        if move is not None or not untried:
            return False
        enough = self._parameters.stuck if first else self._parameters.stuck_again
        probable = here.within(1 - sizer.tolerance, 1 + sizer.tolerance)
        return probable < enough and sizer.ready_to_probe(here)

    def _most_unseen(self, fit: TransientEstimate, gain: Mixture) -> int | None:
        if not self._estimator.borrowed:
            return None
        return self._sizer.most_unseen(fit.combination(unit(LEVEL)).mean, gain.mean)
