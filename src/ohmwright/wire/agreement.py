"""Answers that are believed since two in a row agree.

Numbered readings that are asked for more slowly than the meter takes them are never the same twice:
on a busy computer, or over a slow line. One after the other of a steady output is believed then.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from math import isclose
from typing import TypeVar

T = TypeVar("T")
MeasuredReply = tuple[float, int | None]
"""Value and number of a measured reply."""
_ASKED_AT_MOST, _READ_AT_MOST = 4, 12
_STEADY = 0.01
"""Relative difference of two readings of a steady output: a changed digit mostly makes more."""


async def agreed(ask: Callable[[], Awaitable[T]]) -> T | None:
    """What two answers in a row say; None where none do."""
    return await _agreed(ask, None, _ASKED_AT_MOST, lambda *_: False)


async def agreed_reading(
    ask: Callable[[], Awaitable[T]],
    reading_of: Callable[[T], MeasuredReply],
    earlier: T | None = None,
) -> T | None:
    """What two answers in a row say, or the second of two readings one after the other.

    The latter where four answers were different, and the two are of a steady output. None where
    there are none. `reading_of`: the reading in an answer; `earlier`: an answer that came already.
    """

    def follows(before: T, after: T) -> bool:
        return _is_next(reading_of(before), reading_of(after))

    return await _agreed(ask, earlier, _READ_AT_MOST, follows)


async def _agreed(
    ask: Callable[[], Awaitable[T]],
    earlier: T | None,
    at_most: int,
    follows: Callable[[T, T], bool],
) -> T | None:
    before = await ask() if earlier is None else earlier
    for answers in range(2, at_most + 1):
        after = await ask()
        # repr, for a NaN equals nothing; the same bytes are parsed once, to the same object
        if after is before or repr(after) == repr(before):
            return after
        if answers > _ASKED_AT_MOST and follows(before, after):
            return after
        before = after
    return None


def _is_next(before: MeasuredReply, after: MeasuredReply) -> bool:
    """Whether a reading of a steady output came after another."""
    (value, number), (next_value, next_number) = before, after
    newer = number is not None and next_number is not None and next_number > number
    return newer and isclose(value, next_value, rel_tol=_STEADY)
