"""Where a trim stands and how it gets elsewhere: by counts if remote, by keys if coached."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .actions import Action, Move, Press
from .point import Keys

Floats = NDArray[np.float64]


class Trim:
    """Counts and coarse presses from the start; a press counts as its nominal size."""

    def __init__(self, keys: Keys | None) -> None:
        self.keys = keys
        self.counts = 0
        self.coarse = 0

    @property
    def fine(self) -> int:
        """Fine presses from the start."""
        return self.counts - (0 if self.keys is None else self.coarse * self.keys.coarse_counts)

    def place(self, counts: int = 0) -> Floats:
        """Level, counts, coarse presses, curvature after `counts` more."""
        n = self.counts + counts
        return np.array([1.0, n, self.coarse, n * n / 200])

    def note_moved(self, counts: int) -> None:
        """The trim has moved by counts."""
        self.counts += counts

    def note_pressed(self, key: str, times: int) -> None:
        """A key has been pressed."""
        if key == "coarse" and self.keys is not None:
            self.coarse += times
            times *= self.keys.coarse_counts
        self.counts += times

    def towards(self, counts: int, coarse_size: float) -> Action | None:
        """The next action that brings the trim nearer to where `counts` would, None for none.

        A coarse press comes alone: what it is really worth must be seen before fine ones follow.
        """
        if counts == 0:
            return None
        if self.keys is None:
            return Move(counts)
        coarse = round(counts / coarse_size)
        return Press("coarse", coarse) if coarse != 0 else Press("fine", counts)

    def outwards(self, counts: int) -> Action:
        """A step to see what the trim does: about `counts`, never more."""
        if self.keys is None:
            return Move(counts)
        coarse = int(abs(counts) / (0.9 * self.keys.coarse_counts))
        sign = 1 if counts > 0 else -1
        if coarse != 0:
            return Press("coarse", sign * coarse)
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
