"""The ages of readings that carry no number: when they came is seen, or a person types them."""

from __future__ import annotations

from math import isnan

from ohmwright.instruments.analyzer import Reading

_SOONEST = 0.75
"""Intervals after a reading before which another text is not taken for the next one."""


class AgesAsTyped:
    """Dates each reading that a person types: they looked between the question and the answer."""

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:  # noqa: ARG002
        """Return the middle between question and answer, as age in s; every one is new."""
        return (asked_s + came_s) / 2


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
        shown_ma, earliest_s = self._shown_ma, asked_s - self._interval_s
        if shown_ma is None:
            self._note(reading, asked_s, (earliest_s, came_s))
            return None
        if _same(reading.current_ma, shown_ma):
            self._asked_s = asked_s
            if asked_s < self._latest_s + self._interval_s:
                return None
        elif came_s < self._age_s + _SOONEST * self._interval_s:
            return None
        else:
            earliest_s = max(earliest_s, self._asked_s)
        self._note(reading, asked_s, self._narrowed_by_rate(earliest_s, came_s))
        return self._age_s

    def _note(self, reading: Reading, asked_s: float, complete_s: tuple[float, float]) -> None:
        """Keep the latest reading; `complete_s`: the ages between which it was complete."""
        self._shown_ma, self._asked_s = reading.current_ma, asked_s
        self._earliest_s, self._latest_s = complete_s

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


def _same(current_ma: float, other_ma: float) -> bool:
    """Return whether two fetches gave the same text; NaN is the text of a meter without reading."""
    return current_ma == other_ma or (isnan(current_ma) and isnan(other_ma))
