"""Whether the output sinks by more than the generator's data state; a person is told once.

Rests are shortened by what the data say of droop and recovery. An output that loses more than that
while RF is on, as one that is reduced when the unit gets warm, does not recover as they say either.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ohmwright.model.result import Sample

_READINGS = 5
"""Readings whose median is compared: no single one tells what an output lost."""
_RISEN = 0.5
"""From this part of the age asked for on, an output is taken to overshoot no more."""
_BEYOND, _SCATTER = 1.3, 0.004
"""Loss over the largest that is stated, and relative loss besides, which are still believed."""


class StatedDroop:
    """The largest droop that the generator's data state, relative, held against readings."""

    def __init__(self, largest: float | None, digit_ma: float) -> None:
        """`largest`: None where the data do not state it; then there is nothing to contradict.

        `digit_ma`: the meter's last digit.
        """
        self._largest, self._digit_ma = largest, digit_ma
        self.is_contradicted = False

    def finding(self, samples: Sequence[Sample], at_age_s: float) -> str:
        """Take the readings of an activation without moves; return what to tell a person, or ''.

        `at_age_s`: age at which values are asked for.
        """
        if self._largest is None or self.is_contradicted:
            return ""
        risen = [one.current_ma for one in samples if one.age_s >= _RISEN * at_age_s]
        loss = sunk_by(risen, self._digit_ma)
        if loss <= _BEYOND * self._largest + _SCATTER:
            return ""
        self.is_contradicted = True
        return (
            f"finding about the generator's data: the output sank by {100 * loss:.1f} % or more in "
            f"an activation, and by its data it droops by {100 * self._largest:.3g} % at most. "
            "Rests are as long as the procedure says from here on. See whether the unit reduces "
            "its output when it is warm, or hunts; correct droop in its data file by its manual"
        )


def sunk_by(currents_ma: Sequence[float], digit_ma: float) -> float:
    """Return the loss from the highest median of neighbouring readings to the last one, relative.

    It is the least one: two medians may be a digit apart, of an output that did not sink. That is
    much of a small current, as of a leakage. 0 of readings that are too few, or show no current.
    """
    if len(currents_ma) < 2 * _READINGS:
        return 0.0
    windows = np.lib.stride_tricks.sliding_window_view(np.array(currents_ma), _READINGS)
    medians = np.median(windows, axis=1)
    highest = float(medians.max())
    lost = max(0.0, highest - float(medians[-1]) - digit_ma)
    return lost / highest if highest > 0 else 0.0
