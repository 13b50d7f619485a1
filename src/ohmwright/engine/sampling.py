"""The readings of an open activation, each once and with its age."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from math import isnan

from ohmwright.instruments.analyzer import Analyzer, Reading
from ohmwright.model.errors import ActivationVoid, ProtocolError
from ohmwright.model.result import Sample
from ohmwright.wire.clock import Clock

from .activation import Activation

_SILENT_READINGS = 20
"""Reading intervals without a new reading after which the meter has stopped."""
_LIMIT_SLACK_S = 2.5
"""Allowed difference between the analyzer's time left and ours.

Its limit begins when ON arrives, ours when the answers to it have, some of them asked for twice.
"""
_ASKED_AT_MOST = 2
"""Times that the time left is read before it counts as wrong: one answer may be damaged."""
_RATE, _JITTER = 0.1, 0.5
"""Relative error of the meter's rate, and lateness of a reading in intervals, that are allowed."""
_LEAST_RATE, _MOST_RATE = 1 - _RATE, 1 + _RATE


async def samples(
    activation: Activation,
    fetch: Callable[[], Awaitable[Reading]],
    clock: Clock,
    interval_s: float,
    until_s: float,
) -> AsyncIterator[Sample]:
    """Yield each new reading, in mA with its age, until the activation is `until_s` old.

    The meter takes a reading every `interval_s` and numbers it, so the age follows from the number
    and not from when it was fetched; without a number it is the age at which it came. Raises
    ProtocolError when the numbers stand still or run back: the reply may be an old one or another
    instrument's. Raises ActivationVoid when clocks differ by more than about a reading: then time
    has passed that one of them has not counted.
    """
    ages, silent, asleep_s = _ReadingAges(interval_s), 0, clock.asleep_s()
    while activation.age_s < until_s:
        await clock.sleep(interval_s)
        asked_s = activation.age_s
        current_ma, number = await fetch()
        came_s = activation.age_s
        slept_s = clock.asleep_s() - asleep_s
        if abs(slept_s) > interval_s:
            raise activation_void(
                f"the computer was asleep, or its date was set, by {slept_s:.1f} s"
            )
        age_s = ages.age_of(number, asked_s, came_s)
        if age_s is None:
            silent = _count_silence(silent)
            continue
        silent = 0
        if not isnan(current_ma):
            yield Sample(age_s, current_ma)


class _ReadingAges:
    """Finds the age of each reading from its number and that of the one before."""

    def __init__(self, interval_s: float) -> None:
        self._interval_s, self._apart_s = interval_s, (1 + _JITTER) * interval_s
        self._number: int | None = None
        self._asked_s = self._came_s = self._age_s = 0.0

    def age_of(self, number: int | None, asked_s: float, came_s: float) -> float | None:
        """The age in s of the reading `number`; None where it is the last one again.

        `asked_s` and `came_s`: the ages of the activation at which it was asked for and came. A
        reading was complete when it came, and at most an interval before it was asked for; between
        those bounds lies the time that the meter may have counted. Raises ActivationVoid where
        its count is outside, ProtocolError where it runs back.
        """
        last, age_s = self._number, came_s
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


def activation_void(gap: str) -> ActivationVoid:
    """Return the error to be raised where time has passed without readings."""
    return ActivationVoid(
        f"Time has passed in which nobody looked: {gap}.",
        "The readings' ages and the time that RF was on are not known; no value was taken.",
        "Keep the computer from sleeping and the program from being stopped, then resume the run.",
    )


def _count_silence(silent: int) -> int:
    if silent >= _SILENT_READINGS:
        raise ProtocolError(
            f"The meter has given no new reading for {silent} reading intervals.",
            "It has stopped, or an old reply is repeated.",
            "Check the analyzer, then run again.",
        )
    return silent + 1
