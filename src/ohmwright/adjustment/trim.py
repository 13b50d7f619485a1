"""Where a trim stands and how it gets elsewhere: by counts if remote, by keys if coached."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ohmwright.estimation.point import Keys

from .actions import Action, Move, Press

Floats = NDArray[np.float64]


class Trim:
    """Counts and coarse presses from the start; a press counts as its nominal size."""

    def __init__(self, keys: Keys | None) -> None:
        self.keys = keys
        self.counts = 0
        self.coarse = 0
        self.moves = 0

    @property
    def fine(self) -> int:
        """Fine presses from the start."""
        return self.counts - (0 if self.keys is None else self.coarse * self.keys.coarse_counts)

    def place(self, after: Action | None = None) -> Floats:
        """Level, counts, coarse presses, curvature; where it is or will be `after` an action."""
        counts, coarse = self._change(after)
        n = self.counts + counts
        return np.array([1.0, n, self.coarse + coarse, n * n / 200])

    def vector(self, after: Action | None = None) -> Floats:
        """The same as a combination of all coefficients, dynamics left out."""
        return np.concatenate([self.place(after), np.zeros(4)])

    def _change(self, action: Action | None) -> tuple[int, int]:
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
        """The trim has moved by counts."""
        self.moves += 1
        self.counts += counts

    def note_pressed(self, key: str, times: int) -> None:
        """A key has been pressed."""
        self.moves += 1
        if key == "coarse" and self.keys is not None:
            self.coarse += times
            times *= self.keys.coarse_counts
        self.counts += times

    def towards(self, counts: int, fine_counts: int) -> Action | None:
        """The next action that brings the trim nearer, None for none.

        `counts` as the coarse key's effect has it, `fine_counts` as the fine key's. A coarse
        press comes alone: what it is really worth must be seen before fine ones follow.
        """
        if self.keys is None:
            return Move(counts) if counts != 0 else None
        coarse = round(counts / self.keys.coarse_counts)
        if coarse != 0:
            return Press("coarse", coarse)
        return Press("fine", fine_counts) if fine_counts != 0 else None

    def outwards(self, counts: int, most_presses: int) -> Action:
        """A step to see what the trim does: about `counts`, never more."""
        if self.keys is None:
            return Move(counts)
        sign = 1 if counts > 0 else -1
        coarse = int(abs(counts) / (0.9 * self.keys.coarse_counts))
        if coarse != 0:
            return Press("coarse", sign * min(coarse, most_presses))
        return Press("fine", sign * min(abs(counts), _FINE_AT_ONCE))

    def back(self) -> list[Action]:
        """Actions that restore the start."""
        if self.keys is None:
            return [Move(-self.counts)] if self.counts != 0 else []
        actions: list[Action] = []
        if self.coarse != 0:
            actions.append(Press("coarse", -self.coarse))
        if self.fine != 0:
            actions.append(Press("fine", -self.fine))
        return actions


_FINE_AT_ONCE = 4
"""A person presses no more than so many times before seeing what it does."""
