"""The age of each reading: by its number, or, where the meter numbers none, as it was seen.

Each class is told of one fetch after another and says which of them gave a reading that is new.
"""

from __future__ import annotations

from math import isnan
from typing import Protocol

from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import ActivationVoid, ProtocolError

_RATE, _JITTER = 0.1, 0.5
"""Relative error of the meter's rate, and lateness of a reading in intervals, that are allowed."""
_LEAST_RATE, _MOST_RATE = 1 - _RATE, 1 + _RATE
_SOONEST = 0.75
"""Intervals after a reading before which another text is not taken for the next one."""


class ReadingAges(Protocol):
    """Tells a new reading from the last one again, and finds its age."""

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:
        """Return the age in s at which the reading was complete; None where it is not new.

        `asked_s` and `came_s`: the ages of the activation at which it was asked for and came.
        """


def ages_of(first: Reading, interval_s: float) -> ReadingAges:
    """Return what dates the readings of a meter whose first one is `first`."""
    return AgesAsSeen(interval_s) if first.number is None else AgesByNumber(interval_s)


class AgesByNumber:
    """Dates each reading from its number and that of the one before."""

    def __init__(self, interval_s: float) -> None:
        self._interval_s, self._apart_s = interval_s, (1 + _JITTER) * interval_s
        self._number: int | None = None
        self._asked_s = self._came_s = self._age_s = 0.0

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:
        """Return the age in s of the reading; None where its number is the last one again.

        A reading was complete when it came, and at most an interval before it was asked for;
        between those bounds lies the time that the meter may have counted. Raises ActivationVoid
        where its count is outside, ProtocolError where it runs back.
        """
        number, last, age_s = reading.number, self._number, came_s
        if last is not None and number is not None:
            if number == last:
                return None
            if number < last:
                raise _ran_back(number, last)
            counted_s = self._interval_s * (number - last)
            shortest_s = asked_s - self._came_s - self._apart_s
            longest_s = came_s - self._asked_s + self._apart_s
            if _LEAST_RATE * counted_s > longest_s:
                raise _gap(counted_s, f"at most {longest_s:.1f} s")
            if _MOST_RATE * counted_s < shortest_s:
                raise _gap(counted_s, f"at least {shortest_s:.1f} s")
            age_s = min(came_s, self._age_s + counted_s)
        self._number, self._asked_s, self._came_s, self._age_s = number, asked_s, came_s, age_s
        return age_s


class AgesAsSeen:
    """Dates readings without numbers between two fetches, with the help of the meter's rate.

    A fetch gives the latest reading, so it was complete when it came, at most an interval before it
    was asked for, and after the last fetch that still gave another text. The same text within an
    interval is the same reading; an interval later it is a new one of the same value. The first
    fetch only says what to compare with: nobody saw when that reading came.
    """

    def __init__(self, interval_s: float) -> None:
        self._interval_s = interval_s
        self._shown_ma: float | None = None
        self._asked_s = 0.0
        """When the latest reading was last asked for and came."""
        self._earliest_s = self._latest_s = 0.0
        """Between these ages the latest reading was complete."""

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:
        """Return the middle of the time, in s, in which the reading can have been complete.

        None for the first, for the latest one again, and for one that comes sooner than the meter's
        rate allows.
        """
        earliest_s, first = asked_s - self._interval_s, self._shown_ma is None
        if first:
            self._earliest_s, self._latest_s = earliest_s, came_s
        elif _same(reading.current_ma, self._shown_ma):
            self._asked_s = asked_s
            if asked_s < self._latest_s + self._interval_s:
                return None
        elif came_s < self._age_s + _SOONEST * self._interval_s:
            return None
        else:
            earliest_s = max(earliest_s, self._asked_s)
        self._shown_ma, self._asked_s = reading.current_ma, asked_s
        if first:
            return None
        self._earliest_s, self._latest_s = self._narrowed_by_rate(earliest_s, came_s)
        return self._age_s

    @property
    def _age_s(self) -> float:
        return 0.5 * (self._earliest_s + self._latest_s)

    def _narrowed_by_rate(self, earliest_s: float, latest_s: float) -> tuple[float, float]:
        """Return the bounds within which whole intervals from the last reading also lie, if any."""
        since_s = 0.5 * (earliest_s + latest_s) - self._age_s
        later_s = self._interval_s * max(1, round(since_s / self._interval_s))
        narrowed_s = (
            max(earliest_s, self._earliest_s + later_s),
            min(latest_s, self._latest_s + later_s),
        )
        return narrowed_s if narrowed_s[0] <= narrowed_s[1] else (earliest_s, latest_s)


def _same(current_ma: float, other_ma: float | None) -> bool:
    """Return whether two fetches gave the same text; NaN is the text of a meter without reading."""
    both_nan = other_ma is not None and isnan(current_ma) and isnan(other_ma)
    return current_ma == other_ma or both_nan


def activation_void(gap: str) -> ActivationVoid:
    """Return the error to be raised where time has passed without readings."""
    return ActivationVoid(
        f"Time has passed in which nobody looked: {gap}.",
        "The readings' ages and the time that RF was on are not known; no value was taken.",
        "Keep the computer from sleeping and the program from being stopped, then resume the run.",
    )


def _ran_back(number: int, last: int) -> ProtocolError:
    return ProtocolError(
        f"The meter's reading number ran back from {last} to {number}.",
        "The reply may be another instrument's, or the analyzer has restarted.",
        "Check the cabling, then run again; points without a result are measured anew.",
    )


def _gap(counted_s: float, clock_s: str) -> ActivationVoid:
    return activation_void(f"the meter counted {counted_s:.1f} s, the clock {clock_s}")
