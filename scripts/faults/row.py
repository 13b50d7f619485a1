"""One line of the table that every part of the harness prints."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """What was done how often, and what must not have come of it."""

    fault: str
    tried: int
    left_on: int
    wrong_values: int
    undetected: int
    hangs: int
    note: str = ""
    replays: tuple[str, ...] = ()
    """A command that replays each failure."""

    @property
    def holds(self) -> bool:
        """Whether nothing came of it."""
        return not (self.left_on or self.wrong_values or self.undetected or self.hangs)
