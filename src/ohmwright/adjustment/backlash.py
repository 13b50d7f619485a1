"""Lost motion: a trim whose first counts after a reversal of direction do nothing.

The play is not modelled. Once a move after a reversal has done less than the gain predicts, every
further position is approached from the same side, so that equal counts give equal outputs again.
"""

from __future__ import annotations

from .actions import Action, Move
from .step_sizing import StepSizer

_MARGIN = 1.3
"""Length of a run-up over the play seen, which may not have been all of it; no source."""
_EXCURSION_RELATIVE = 0.1
"""Most that a run-up may move the output if there is no play after all, as part of the target; no
source."""
_MOST_LOST = 1.5
"""Most play that one loss shows, over the counts since the reversal: they cannot have lost more
than themselves, but the gain that predicted them may be off; no source."""


class Backlash:
    """Directions of one trim's moves, and the side from which it approaches a position.

    `play_counts`: largest loss seen, 0 while none was; `losses`: how often there was one.
    """

    def __init__(self, sizer: StepSizer) -> None:
        self._sizer = sizer
        self.play_counts = 0.0
        self.losses = 0
        self._side = 0
        """Direction of the latest move."""
        self._run_counts = 0
        """Counts moved since the latest reversal."""
        self._reversed = False

    def note_moved(self, counts: int) -> None:
        """Take note of a move."""
        side = (counts > 0) - (counts < 0)
        if side == self._side:
            self._run_counts += abs(counts)
        elif side != 0:
            self._reversed = self._reversed or self._side != 0
            self._side, self._run_counts = side, abs(counts)

    def note_misprediction(self, error: float, gain: float) -> None:
        """Take note of an output that is `error` more than predicted by `gain` per count.

        That is play if the moves since the latest reversal did less than predicted.
        """
        lost = -error * self._side / gain if gain != 0 else 0.0
        if self._reversed and lost > 0:
            self.losses += 1
            self.play_counts = max(self.play_counts, min(lost, _MOST_LOST * self._run_counts))

    def run_up(self, action: Action, largest_gain: float) -> list[Action]:
        """`action`; after play, one that reverses is longer, and a move back takes up the play."""
        if not isinstance(action, Move) or self.play_counts == 0 or action.counts * self._side > 0:
            return [action]
        most = _EXCURSION_RELATIVE / largest_gain
        run = self._side * round(min(_MARGIN * self.play_counts + 1, most))
        first = self._sizer.reachable(action.counts - run)
        back = action.counts - first  # 0 at the end of the range, where no run-up is left
        return [Move(first), Move(back)] if back != 0 else [action]
