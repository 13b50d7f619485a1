"""Where a trim stands, and the actions that move it: counts by remote control, presses of keys."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ohmwright.adjustment.point import Keys
from ohmwright.estimation.coefficients import TRIM, output_at

from .actions import Action, Move, Press

Floats = NDArray[np.float64]

_FINE_AT_ONCE = 4
"""Most fine presses of one probe: a person then sees what they did before pressing on."""


class Trim:
    """Position of a trim from its start; `keys` is None where it is moved by remote control.

    `counts` are those of all moves, in which a coarse press counts as its nominal size; `coarse` is
    the number of coarse presses, up less down; `moves` the number of moves and presses; `origin`:
    counts and coarse presses where the estimator's level and gain hold.
    """

    def __init__(self, keys: Keys | None) -> None:
        self.keys = keys
        self.counts = 0
        self.coarse = 0
        self.farthest = 0, 0
        """The lowest and the highest counts at which it has stood."""
        self.moves = 0
        self.origin = 0, 0

    @property
    def counts_from_origin(self) -> int:
        """Counts from where level and gain hold."""
        return self.counts - self.origin[0]

    def make_origin(self) -> None:
        """Let level and gain be those where the trim stands now."""
        self.origin = self.counts, self.coarse

    def position(self) -> Floats:
        """Factors of level, gain, coarse press and curvature where the trim stands, shape (4,)."""
        return self.output_after(None)[TRIM]

    def output_after(self, action: Action | None) -> Floats:
        """Factors, shape (8,), by which the eight coefficients add up to the output after `action`.

        None is the output now.
        """
        counts, coarse = self._change(action)
        at_counts, at_coarse = self.origin
        return output_at(self.counts + counts - at_counts, self.coarse + coarse - at_coarse)

    def output_after_all(self, actions: Sequence[Action]) -> Floats:
        """Factors, shape (8,), of the output after several actions."""
        changes = [self._change(action) for action in actions]
        at_counts, at_coarse = self.origin
        return output_at(
            self.counts + sum(counts for counts, _ in changes) - at_counts,
            self.coarse + sum(coarse for _, coarse in changes) - at_coarse,
        )

    def counts_after(self, action: Action | None) -> int:
        """Counts from the start after `action`, or now."""
        counts, _ = self._change(action)
        return self.counts + counts

    def _change(self, action: Action | None) -> tuple[int, int]:
        """Counts and coarse presses that an action adds."""
        match action:
            case Move(counts):
                return counts, 0
            case Press("coarse", times) if self.keys is not None:
                return times * self.keys.coarse_counts, times
            case Press(_, times):
                return times, 0
            case _:
                return 0, 0

    def note_moved(self, counts: int) -> None:
        """Record that the trim was moved by `counts`."""
        self.moves += 1
        self._shift(counts)

    def note_pressed(self, key: str, times: int) -> None:
        """Record that a key was pressed `times` times; negative is the key that counts down."""
        self.moves += 1
        if key == "coarse" and self.keys is not None:
            self.coarse += times
            times *= self.keys.coarse_counts
        self._shift(times)

    def _shift(self, counts: int) -> None:
        self.counts += counts
        lowest, highest = self.farthest
        self.farthest = min(lowest, self.counts), max(highest, self.counts)

    def correct(self, counts: int, coarse: int, *, before_origin: bool) -> None:
        """Correct the position: the trim was moved by this much more than noted.

        `before_origin`: before the origin of level and gain was set.
        """
        self.counts += counts
        self.coarse += coarse
        if before_origin:
            self.origin = self.origin[0] + counts, self.origin[1] + coarse

    def step_towards(self, counts: int, fine_counts: int) -> Action | None:
        """The next action of a move by `counts`; None where it is too small for any.

        `counts` is reckoned by the coarse key's gain, `fine_counts` by the fine key's. A coarse
        press comes alone, since its true size must be seen before fine ones follow.
        """
        if self.keys is None:
            return Move(counts) if counts != 0 else None
        coarse = round(counts / self.keys.coarse_counts)
        if coarse != 0:
            return Press("coarse", coarse)
        return Press("fine", fine_counts) if fine_counts != 0 else None

    def probe(self, counts: int, most_presses: int) -> Action:
        """The action of a probe by about `counts`; `most_presses`: limit of the coarse key.

        Nine tenths of a coarse press or more are pressed as one: fine keys would take too long.
        """
        if self.keys is None:
            return Move(counts)
        sign = 1 if counts > 0 else -1
        coarse = int(abs(counts) / (0.9 * self.keys.coarse_counts))
        if coarse != 0:
            return Press("coarse", sign * min(coarse, most_presses))
        return Press("fine", sign * min(abs(counts), _FINE_AT_ONCE))

    def return_to(self, counts: int, coarse: int) -> list[Action]:
        """Actions that bring the trim to a position from its start; none where it stands there."""
        away = counts - self.counts
        if self.keys is None:
            return [Move(away)] if away != 0 else []
        coarse_away = coarse - self.coarse
        fine_away = away - coarse_away * self.keys.coarse_counts
        actions: list[Action] = []
        if coarse_away != 0:
            actions.append(Press("coarse", coarse_away))
        if fine_away != 0:
            actions.append(Press("fine", fine_away))
        return actions
