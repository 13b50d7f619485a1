"""The readings of an open activation, each once and with its age."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from math import isnan
from typing import NamedTuple

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


class _TimedReading(NamedTuple):
    """A reading, and the ages of the activation at which it was asked for and came, in seconds."""

    reading: Reading
    asked_s: float
    came_s: float


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
    last: _TimedReading | None = None
    age_s, silent, asleep_s = 0.0, 0, clock.asleep_s()
    while activation.age_s < until_s:
        await clock.sleep(interval_s)
        asked_s = activation.age_s
        seen = _TimedReading(await fetch(), asked_s, activation.age_s)
        _refuse_sleep(clock.asleep_s() - asleep_s, interval_s)
        if last is not None and _is_repeated(seen.reading, last.reading):
            silent = _count_silence(silent)
            continue
        age_s = _reading_age_s(seen, last, age_s, interval_s)
        last, silent = seen, 0
        if not isnan(seen.reading.current_ma):
            yield Sample(age_s, seen.reading.current_ma)


def _is_repeated(reading: Reading, last: Reading) -> bool:
    return reading.number is not None and reading.number == last.number


def _reading_age_s(
    seen: _TimedReading, last: _TimedReading | None, last_age_s: float, interval_s: float
) -> float:
    number = seen.reading.number
    if last is None or number is None or last.reading.number is None:
        return seen.came_s
    if number < last.reading.number:
        raise ProtocolError(
            f"The meter's reading number ran back from {last.reading.number} to {number}.",
            "The reply may be another instrument's, or the analyzer has restarted.",
            "Check the cabling, then run again; points without a result are measured anew.",
        )
    counted_s = interval_s * (number - last.reading.number)
    _refuse_gap(counted_s, last, seen, interval_s)
    return min(seen.came_s, last_age_s + counted_s)


def _refuse_gap(
    counted_s: float, last: _TimedReading, seen: _TimedReading, interval_s: float
) -> None:
    """Raise ActivationVoid unless the meter's count fits the times of the last two readings.

    A reading was complete when it came, and at most an interval before it was asked for; between
    those bounds lies the time that the meter may have counted.
    """
    apart_s = (1 + _JITTER) * interval_s
    shortest_s = seen.asked_s - last.came_s - apart_s
    longest_s = seen.came_s - last.asked_s + apart_s
    if (1 - _RATE) * counted_s > longest_s:
        raise activation_void(
            f"the meter counted {counted_s:.1f} s, the clock at most {longest_s:.1f} s"
        )
    if (1 + _RATE) * counted_s < shortest_s:
        raise activation_void(
            f"the meter counted {counted_s:.1f} s, the clock at least {shortest_s:.1f} s"
        )


def _refuse_sleep(asleep_s: float, interval_s: float) -> None:
    if abs(asleep_s) > interval_s:
        raise activation_void(f"the computer was asleep, or its date was set, by {asleep_s:.1f} s")


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
