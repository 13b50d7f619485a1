"""What a meter may still show after OFF of a current that has gone, by its data."""

from __future__ import annotations

from itertools import pairwise
from math import exp, log, nan
from typing import NamedTuple

from ohmwright.instruments.analyzer import Reading
from ohmwright.model.hardware import LONGEST_HOLD_S, MeterData

_SCATTER = 0.02
"""By which readings of one current may differ, beside a digit."""
_CLEARLY_LESS = 0.5
"""Of the first reading after OFF: less than that is no droop of an output that stays on."""


class _Bound(NamedTuple):
    """The most that readings may show: `most_ma`, and ever less from `falls_from_s` on."""

    most_ma: float
    falls_from_s: float


class MeterTail:
    """The readings after OFF, held against those of a current that went off with it.

    A meter that averages by a filter shows such a current for longer than the window in its data,
    and ever less of it. So every reading bounds those after it: once a new one is due they fall by
    a factor of e in each window, as behind a filter with the whole window for its time constant. A
    mean falls sooner; an output that stays on does not fall, nor does a small current that remains.

    A falling current makes a meter change its range, and until it has, it gives its last reading
    again. What has the number of the reading before says nothing of the output now; for longer than
    a change of range lasts it counts as a new one.
    """

    def __init__(self, meter: MeterData, off_s: float) -> None:
        """`off_s`: when OFF was sent first, in s of the bench's clock."""
        self._interval_s, self._window_s = 1 / meter.readings_per_s, meter.window_s
        self._held_until_s = off_s + LONGEST_HOLD_S
        self._number: int | None = None
        self._digit_ma = meter.resolution_ma
        self._bounds = [_Bound(meter.max_current_ma, off_s + self._interval_s)]
        self._shown_ma: list[float] = []
        self.explains = True
        """Whether it explains each reading so far."""

    @property
    def only_fell(self) -> bool:
        """Whether no reading was above the one before, and the last was clearly below the first.

        False where one could not be held against the tail.
        """
        shown_ma = self._shown_ma
        fell = all(b <= a + self._digit_ma for a, b in pairwise(shown_ma))
        return len(shown_ma) > 1 and fell and shown_ma[-1] < _CLEARLY_LESS * shown_ma[0]

    def take(self, reading: Reading | None, asked_s: float, read_s: float) -> None:
        """Take what was read, and when it was asked for and came, in s of the bench's clock.

        None is one that cannot be held against it: the contact or the limit spoke for RF, or the
        analyzer does not say its state. What is once not explained ends the tail for good.
        """
        if reading is not None and self._is_held(reading, asked_s):
            return
        self._shown_ma.append(nan if reading is None else reading.current_ma)
        if reading is None or not reading.current_ma <= self._most_ma(asked_s) + self._digit_ma:
            self.explains = False
        elif self.explains:
            most_ma = (1 + _SCATTER) * reading.current_ma + self._digit_ma
            self._bounds.append(_Bound(most_ma, read_s + self._interval_s))

    def _is_held(self, reading: Reading, asked_s: float) -> bool:
        """Return whether it is the reading before again, as while the meter changes its range."""
        before, self._number = self._number, reading.number
        return reading.number is not None and (
            reading.number == before and asked_s < self._held_until_s
        )

    def _most_ma(self, at_s: float) -> float:
        """Return the most that a reading asked for at `at_s` may show, beside a digit."""
        return min(
            bound.most_ma * exp(-max(0.0, at_s - bound.falls_from_s) / self._window_s)
            for bound in self._bounds
        )


def tail_s(meter: MeterData, current_ma: float, none_ma: float) -> float:
    """Return for how long in s a filter shows more than `none_ma` of a current that has gone.

    Of a filter that delays a change as a mean over the meter's window does, where its data state no
    filter; of one that they state, as if it averaged squares: that shows a current twice as long.
    With the interval until the reading that shows no more.
    """
    constants = max(0.0, log(current_ma / none_ma))
    times = 1.0 if meter.averages_by == "filter" else 0.5
    return times * meter.window_s * constants + 1 / meter.readings_per_s
