"""Numbers whose echo shows that a line is in step and distorts no digit."""

from __future__ import annotations

from random import Random

_BITS = (1, 2, 4, 8)
"""The bits in which the characters 0 to 9 differ."""


def telling(draws: Random) -> tuple[int, int]:
    """Two different numbers of 2 to 255 whose digits show each bit both set and cleared.

    A bit that is stuck on the line changes at least one digit of them.
    """
    while True:
        first, second = draws.sample(range(2, 256), 2)
        digits = [int(digit) for digit in f"{first}{second}"]
        if all(len({digit & bit for digit in digits}) == 2 for bit in _BITS):
            return first, second
