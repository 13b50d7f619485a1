"""One line of the table of faults."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """What was done so often, and what came of it."""

    fault: str
    """What was done."""
    tried: int
    left_on: int
    wrong_values: int
    undetected: int
    hangs: int
    note: str = ""
    replays: tuple[str, ...] = ()
    """Commands that replay each failure."""
