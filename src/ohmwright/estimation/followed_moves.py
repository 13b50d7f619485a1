"""How soon readings follow a move: means over a window that is stated too long could not do so."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from itertools import pairwise
from math import inf

from .activation_record import ActivationRecord

_CLEAR_SPREADS = 6.0
"""A move that changed the readings by no more than so many spreads tells nothing."""
_TOO_SOON_SHARE = 0.3
"""Part of a change by which the first reading after a move is ahead of what the window allows:
some of the move before may still be to come, and readings scatter."""
_DATING = 0.5
"""What the age of a reading may be off by, over the time from one to the next."""
_MOVES = 2
"""How many must show it: at one, a reading may have been dated wrongly."""
_NEIGHBOURS = 3
"""Readings that show how far neighbours lie apart where no move is between them."""


def window_by_moves_s(record: ActivationRecord) -> float:
    """Return the longest window, in s, by which the readings can have followed the moves.

    That is the window of `record` unless several moves show that it is shorter.
    """
    if record.steps.at_s.size <= _MOVES or record.age_s.size < _NEIGHBOURS:
        return record.window_s
    shorter = sorted(_shorter_windows_s(record))
    return shorter[_MOVES - 1] if len(shorter) >= _MOVES else record.window_s


def _shorter_windows_s(record: ActivationRecord) -> Iterator[float]:
    """Yield, of each move that was followed too soon, the longest window that allows that."""
    age_s, value = record.age_s.tolist(), record.relative.tolist()
    dating_s = _DATING * (age_s[-1] - age_s[0]) / (len(age_s) - 1)
    for begun_s, end_s in pairwise([*record.steps.at_s[1:].tolist(), inf]):
        first, last = bisect_left(age_s, begun_s), bisect_left(age_s, end_s)
        if first == 0 or last - first < 2:
            continue
        before, after = value[first - 1], value[first:last]
        change = after[-1] - before
        spread = min(_spread(value[:first]), _spread(after)) + record.resolution
        if abs(change) <= _CLEAR_SPREADS * spread:
            continue
        share = min(1.0, (after[0] - before) / change)
        since_s = age_s[first] - begun_s + dating_s
        if share > since_s / record.window_s + _TOO_SOON_SHARE:
            yield since_s / share


def _spread(values: Sequence[float]) -> float:
    """Return how far neighbours among the last readings lie apart; 0 for one reading."""
    return max((abs(b - a) for a, b in pairwise(values[-_NEIGHBOURS:])), default=0.0)
