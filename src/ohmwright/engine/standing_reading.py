"""A meter whose figure stands still while RF is on, as no output does."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ohmwright.model.errors import ProtocolError

Floats = NDArray[np.float64]

_FINE_DIGIT = 3e-4
"""Largest digit, over the reading, that shows an output's noise, which is 0.05 % or more (common
practice, no source)."""
_ALIKE = 10
"""Equal readings in a row from which the meter stands still: with such a digit, two neighbours of
an output are equal in about one case of five."""
_SOME_ALIKE = 4
"""Equal readings in a row from which nothing is decided: the meter may stand still while the output
rises."""


def may_stand_still(currents_ma: Floats, digit_ma: float) -> bool:
    """Return whether the latest readings are of one figure, so that one must wait for another."""
    first_ma, *rest_ma = currents_ma[-_SOME_ALIKE:]
    return len(rest_ma) == _SOME_ALIKE - 1 and all(
        _shows_alike(current_ma, first_ma, digit_ma) for current_ma in rest_ma
    )


def _shows_alike(current_ma: float, before_ma: float, digit_ma: float) -> bool:
    """Return whether two readings are of one figure, with a digit in which noise would show."""
    return digit_ma <= _FINE_DIGIT * current_ma and abs(current_ma - before_ma) < 0.5 * digit_ma


class StandingReading:
    """Counts readings of one figure. `digit_ma`: the meter's last digit.

    A coarse digit hides an output's noise: then nothing is decided.
    """

    def __init__(self, digit_ma: float) -> None:
        self._digit_ma = digit_ma
        self._figure_ma = 0.0
        self._alike = 0

    def note(self, current_ma: float) -> None:
        """Take in a reading in mA. Raises ProtocolError where the figure stands still."""
        figure_ma, self._figure_ma = self._figure_ma, current_ma
        if not _shows_alike(current_ma, figure_ma, self._digit_ma):
            self._alike = 1
            return
        self._alike += 1
        if self._alike >= _ALIKE:
            raise ProtocolError(
                f"The meter shows {current_ma:g} mA again and again, {self._alike} readings long.",
                "No output is so quiet: the meter may hang. No value was taken from it.",
                "See whether it follows the output; restart it, then run again.",
            )
