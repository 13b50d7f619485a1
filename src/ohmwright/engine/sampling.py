"""Readings of an open activation, each with its age, none twice."""

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
"""So many reading intervals without a new reading mean that the meter has stopped."""
_LIMIT_SLACK_S = 2.5
"""The analyzer's limit began when ON came, ours when its answers had, some asked for twice."""
_ASKED_AT_MOST = 2
"""Of a question whose answer may be damaged."""
_RATE, _JITTER = 0.1, 0.5
"""A meter's rate is what its data say within this part, and a reading late by this part of one."""


class _Seen(NamedTuple):
    """A reading, and between which ages of the activation it was asked for and came."""

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
    """Yield each new reading until the activation is `until_s` old.

    The meter numbers its readings and takes one every `interval_s`, so a reading seen late
    is dated by its number and not by when it was fetched; one without a number is as old as when
    it came. Raises ProtocolError when the numbers stand still or run back: a repeated or foreign
    reply must not pass for a reading. Raises ActivationVoid when the clocks disagree by more than
    about a reading: then time has passed that one of them did not see.
    """
    last: _Seen | None = None
    age_s, silent, asleep_s = 0.0, 0, clock.asleep_s()
    while activation.age_s < until_s:
        await clock.sleep(interval_s)
        asked_s = activation.age_s
        seen = _Seen(await fetch(), asked_s, activation.age_s)
        _refuse_sleep(clock.asleep_s() - asleep_s, interval_s)
        if last is not None and _same(seen.reading, last.reading):
            silent = _count_silence(silent)
            continue
        age_s = _age_of(seen, last, age_s, interval_s)
        last, silent = seen, 0
        if not isnan(seen.reading.current_ma):
            yield Sample(age_s, seen.reading.current_ma)


def _same(reading: Reading, last: Reading) -> bool:
    return reading.number is not None and reading.number == last.number


def _age_of(seen: _Seen, last: _Seen | None, last_age_s: float, interval_s: float) -> float:
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


def _refuse_gap(counted_s: float, last: _Seen, seen: _Seen, interval_s: float) -> None:
    """The meter's count must fit between the shortest and the longest that it may have been.

    Either reading was complete when it came, and no more than an interval before it was asked for.
    """
    apart_s = (1 + _JITTER) * interval_s
    shortest_s = seen.asked_s - last.came_s - apart_s
    longest_s = seen.came_s - last.asked_s + apart_s
    if (1 - _RATE) * counted_s > longest_s:
        raise void(f"the meter counted {counted_s:.1f} s, the clock at most {longest_s:.1f} s")
    if (1 + _RATE) * counted_s < shortest_s:
        raise void(f"the meter counted {counted_s:.1f} s, the clock at least {shortest_s:.1f} s")


def _refuse_sleep(asleep_s: float, interval_s: float) -> None:
    if abs(asleep_s) > interval_s:
        raise void(f"the computer was asleep, or its date was set, by {asleep_s:.1f} s")


async def refuse_other_limit(analyzer: Analyzer, activation: Activation) -> None:
    """Raise ActivationVoid where the analyzer has another time left of the limit than we have."""
    for _ in range(_ASKED_AT_MOST):
        left_s = await analyzer.left_s()
        if left_s is None:
            return
        early_s = activation.left_s - left_s
        if abs(early_s) <= _LIMIT_SLACK_S:
            return
    raise void(
        f"the analyzer has {left_s:.1f} s left of its limit, and the bench's clock "
        f"{activation.left_s:.1f} s"
    )


def void(gap: str) -> ActivationVoid:
    """What to raise where time has passed unseen."""
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
