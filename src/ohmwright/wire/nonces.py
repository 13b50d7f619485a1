"""Numbers whose echo shows that a line is in step and distorts no digit."""

from __future__ import annotations

from functools import reduce
from operator import or_
from random import Random

_NUMBERS = range(2, 256)
_ALL_BITS = 0b1111
"""The bits in which the characters 0 to 9 differ."""
_SET = {number: reduce(or_, map(int, str(number))) for number in _NUMBERS}
"""Bits that some digit of a number has set."""
_CLEARED = {
    number: reduce(or_, (_ALL_BITS & ~int(digit) for digit in str(number))) for number in _NUMBERS
}


def nonce_pair(draws: Random) -> tuple[int, int]:
    """Two different numbers of 2 to 255 whose digits have each bit both set and cleared.

    A bit that is stuck on the line changes at least one digit of them.
    """
    while True:
        first, second = draws.sample(_NUMBERS, 2)
        if (_SET[first] | _SET[second]) & (_CLEARED[first] | _CLEARED[second]) == _ALL_BITS:
            return first, second
