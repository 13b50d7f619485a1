"""One line of the table of faults."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """What one kind of fault did, over all tries; every count but `tried` should be 0."""

    fault: str
    tried: int
    left_on: int
    wrong_values: int
    undetected: int
    hangs: int
    note: str = ""
    replays: tuple[str, ...] = ()
