"""Which move the readings call for, by whoever told the gain: this unit, or others of its model."""

from __future__ import annotations

from ohmwright.estimation.knowledge import LEVEL
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.transient import Transient

from .actions import Action
from .belief import Belief
from .moving import FINE_GAIN, Mover, unit
from .tuning import Tuning


class Chooser:
    """Chooses moves of one point. Levels and gains are relative to the target, gains per count."""

    def __init__(self, tuning: Tuning, mover: Mover, belief: Belief) -> None:
        self._tuning, self._mover, self._belief = tuning, mover, belief

    def next_move(self, fit: Transient, here: Mixture, gain: Mixture) -> Action | None:
        """The next move towards the target, None where none is worth it."""
        own = self._belief.is_own(gain)
        unsure = abs(1 - here.mean) < self._tuning.unseen_worth * here.sd
        if not own and unsure and self._mover.trim.counts == 0:
            return None
        most = None if own else self._most_unseen(fit, gain)
        spare = self._mover.spare(here, own=own)
        return self._mover.towards(here, gain, fit.combination(FINE_GAIN), spare, most)

    def is_stuck(self, here: Mixture, gain: Mixture, move: Action | None, *, first: bool) -> bool:
        """Whether a gain that this unit never showed says that no count does any good.

        `first`: in the first activation, which is content with less.
        """
        mover, belief = self._mover, self._belief
        untried = belief.borrowed and mover.trim.counts == 0 and not belief.is_own(gain)
        if move is not None or not untried:
            return False
        enough = self._tuning.stuck if first else self._tuning.stuck_again
        probable = here.within(1 - mover.tolerance, 1 + mover.tolerance)
        return probable < enough and mover.ready_to_probe(here)

    def _most_unseen(self, fit: Transient, gain: Mixture) -> int | None:
        if not self._belief.borrowed:
            return None
        return self._mover.most_unseen(fit.combination(unit(LEVEL)).mean, gain.mean)
