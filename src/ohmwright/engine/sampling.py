"""The readings of an open activation, each once and with its age."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from math import isnan
from typing import Protocol

from ohmwright.instruments.analyzer import Analyzer, Reading
from ohmwright.model.errors import ActivationVoid, ProtocolError
from ohmwright.model.result import Sample
from ohmwright.wire.clock import Clock

from .activation import Activation
from .pace import Pace
from .standing_reading import StandingReading

_SILENT_READINGS = 20
"""Reading intervals without a new reading after which the meter has stopped."""
_LIMIT_SLACK_S = 2.5
"""Allowed difference between the analyzer's time left and ours.

Its limit begins when ON arrives, ours when the answers to it have, some of them asked for twice.
"""
_ASKED_AT_MOST = 2
"""Times that the time left is read before it counts as wrong: one answer may be damaged."""
_LOOKS_PER_INTERVAL, _LOOK_EVERY_S = 4, 0.1
"""A meter without reading numbers is asked so often in an interval, to see when a reading comes;
no oftener than this."""
_QUERIES_TO_COME = 2
"""After a reading: the next one is fetched, and it is read that RF is still on."""
_RATE, _JITTER = 0.1, 0.5
"""Relative error of the meter's rate, and lateness of a reading in intervals, that are allowed."""
_LEAST_RATE, _MOST_RATE = 1 - _RATE, 1 + _RATE
_SOONEST = 0.75
"""Intervals after a reading before which another text is not taken for the next one."""


async def samples(
    activation: Activation,
    fetch: Callable[[], Awaitable[Reading]],
    clock: Clock,
    interval_s: float,
    until_s: float,
    digit_ma: float,
) -> AsyncIterator[Sample]:
    """Yield each new reading, in mA with its age, while there is time for another.

    The meter takes a reading every `interval_s`; its age follows from its number, or from when it
    was seen. The last one comes early enough before the age `until_s` for one more query to be
    answered in time: a query takes as long as the quicker of the last two fetches, since one that
    was held up says nothing of the next. A person is asked for the next reading as soon as they
    have typed one. `digit_ma`: the meter's last digit. Raises ProtocolError when the numbers stand
    still or run back, or a fine figure stands still: the reply may be an old one or another
    instrument's. Raises ActivationVoid when clocks
    differ by more than about a reading: then time has passed that one of them has not counted.
    """
    ages: ReadingAges | None = None
    clock_s, began_s = clock.now_s, activation.began_s
    standing, pace = StandingReading(digit_ma), Pace(clock_s(), interval_s)
    silent, asleep_s = 0, clock.asleep_s()
    query_s = latest_s = 0.0
    while True:
        now_s = clock_s()
        wait_s = pace.wait_s(now_s)
        if now_s - began_s + wait_s + _QUERIES_TO_COME * query_s >= until_s:
            return
        await clock.sleep(wait_s)
        now_s = clock_s()
        pace.asked(now_s)
        asked_s = now_s - began_s
        reading = await fetch()
        came_s = clock_s() - began_s
        if not reading.by_hand:
            query_s, latest_s = min(latest_s, came_s - asked_s), came_s - asked_s
            pace.query_s = query_s
        slept_s = clock.asleep_s() - asleep_s
        if abs(slept_s) > interval_s:
            raise activation_void(
                f"the computer was asleep, or its date was set, by {slept_s:.1f} s"
            )
        if ages is None:
            ages = ages_of(reading, interval_s)
            if reading.number is None:
                pace.look_every(_look_every_s(reading, interval_s))
        if reading.number is None and latest_s > interval_s + query_s:
            continue  # delayed on its way, by more than its age may be uncertain
        age_s = ages.age_of(reading, asked_s, came_s)
        if age_s is None:
            silent = _count_silence(silent)
            if silent == 1:
                pace.asked_too_soon()
            continue
        silent = 0
        current_ma = reading.current_ma
        if not isnan(current_ma):
            if not reading.by_hand:
                standing.note(current_ma)
            yield Sample(age_s, current_ma)


def _look_every_s(reading: Reading, interval_s: float) -> float:
    """Return the time between two looks at a meter that gives readings like this, in s."""
    if reading.by_hand:
        return 0.0
    if reading.number is not None:
        return interval_s
    return min(interval_s, max(interval_s / _LOOKS_PER_INTERVAL, _LOOK_EVERY_S))


class ReadingAges(Protocol):
    """Tells a new reading from the last one again, and finds its age."""

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:
        """Return the age in s at which the reading was complete; None where it is not new.

        `asked_s` and `came_s`: the ages of the activation at which it was asked for and came.
        """


def ages_of(first: Reading, interval_s: float) -> ReadingAges:
    """Return what dates the readings of a meter whose first one is `first`."""
    if first.by_hand:
        return AgesAsTyped()
    return AgesAsSeen(interval_s) if first.number is None else AgesByNumber(interval_s)


class AgesAsTyped:
    """Dates each reading that a person types: they looked between the question and the answer."""

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:  # noqa: ARG002
        """Return the middle between question and answer, as age in s; every one is new."""
        return (asked_s + came_s) / 2


class AgesByNumber:
    """Dates each reading from its number and that of the one before."""

    def __init__(self, interval_s: float) -> None:
        self._interval_s, self._apart_s = interval_s, (1 + _JITTER) * interval_s
        self._number: int | None = None
        self._asked_s = self._came_s = self._age_s = 0.0

    def age_of(self, reading: Reading, asked_s: float, came_s: float) -> float | None:
        """Return the age in s of the reading; None where its number is the last one again.

        A reading was complete when it came, and at most an interval before it was asked for;
        between those bounds lies the time that the meter may have counted, and the age, however
        far from its stated rate a meter counts. Raises ActivationVoid where the count from one
        reading to the next is outside, ProtocolError where it runs back.
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
            age_s = min(came_s, max(asked_s - self._apart_s, self._age_s + counted_s))
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


async def refuse_other_limit(analyzer: Analyzer, activation: Activation) -> None:
    """Raise ActivationVoid where the analyzer's time left differs from the activation's."""
    for _ in range(_ASKED_AT_MOST):
        left_s = await analyzer.left_s()
        if left_s is None:
            return
        early_s = activation.left_s - left_s
        if abs(early_s) <= _LIMIT_SLACK_S:
            return
    raise activation_void(
        f"the analyzer has {left_s:.1f} s left of its limit, and the bench's clock "
        f"{activation.left_s:.1f} s"
    )


def _count_silence(silent: int) -> int:
    if silent >= _SILENT_READINGS:
        raise ProtocolError(
            f"The meter has given no new reading for {silent} reading intervals.",
            "It has stopped, or an old reply is repeated.",
            "Check the analyzer, then run again.",
        )
    return silent + 1
