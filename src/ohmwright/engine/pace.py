"""When a meter is asked for its next reading."""

from __future__ import annotations

_SOON = 0.25
"""Part of an interval after which a meter is asked again that had nothing new."""
_AT_FIRST = 4.0
"""Queries by which a meter is asked sooner until it is seen when its readings come."""
_MOST_SOONER = 0.05
"""A meter is asked sooner by no more than this part of an interval."""


class Pace:
    """An even pace, however long the answers of a meter take to come.

    If each query took a time of its own, a meter of ten readings a second would lose some in a
    hundred. So it is asked a little sooner each time, by what a query takes and at first by more,
    until a reading comes once more; then it is asked again soon, and from there on a query that is
    late is in time still. All times are the bench clock's, in s.
    """

    query_s = 0.0
    """What a query takes."""

    def __init__(self, now_s: float, interval_s: float) -> None:
        self._due_s = now_s
        self._interval_s = self._next_s = interval_s
        self._most_sooner_s = _MOST_SOONER * interval_s
        self._look_s: float | None = None
        self._queries_sooner = _AT_FIRST

    def look_every(self, look_s: float) -> None:
        """Wait `look_s` after each answer from now on: the meter has no reading numbers.

        Where that is no even part of its interval, the time of a new reading is seen more exactly.
        """
        self._look_s = look_s

    def wait_s(self, now_s: float) -> float:
        """Return for how many seconds from `now_s` on there is nothing to ask."""
        if self._look_s is not None:
            return self._look_s
        left_s = self._next_s - (now_s - self._due_s)
        return left_s if left_s > 0.0 else 0.0

    def asked(self, now_s: float) -> None:
        """Note that the meter is asked at `now_s`, on time or late."""
        due_s, interval_s = self._due_s + self._next_s, self._interval_s
        # what came meanwhile is past
        self._due_s = now_s if now_s - due_s >= interval_s else due_s
        sooner_s = self._queries_sooner * self.query_s
        self._next_s = interval_s - (
            sooner_s if sooner_s < self._most_sooner_s else self._most_sooner_s
        )

    def asked_too_soon(self) -> None:
        """Note that the meter had nothing new."""
        self._next_s = _SOON * self._interval_s
        self._queries_sooner = 1.0
