"""The readings of an open activation, each once and with its age."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from math import isnan

from ohmwright.instruments.analyzer import Analyzer, Reading
from ohmwright.model.errors import ProtocolError
from ohmwright.model.result import Sample
from ohmwright.wire.clock import Clock

from .activation import Activation
from .reading_ages import ReadingAges, activation_void, ages_of

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


async def samples(
    activation: Activation,
    fetch: Callable[[], Awaitable[Reading]],
    clock: Clock,
    interval_s: float,
    until_s: float,
) -> AsyncIterator[Sample]:
    """Yield each new reading, in mA with its age, while there is time for another.

    The meter takes a reading every `interval_s`; `reading_ages` dates it by its number, or as it
    was seen. The last one comes early enough before the age `until_s` for one more query to be
    answered in time: a query takes as long as the quicker of the last two fetches, since one that
    was held up says nothing of the next. Raises ProtocolError when
    the numbers stand still or run back: the reply may be an old one or another instrument's. Raises
    ActivationVoid when clocks differ by more than about a reading: then time has passed that one of
    them has not counted.
    """
    ages: ReadingAges | None = None
    wait_s, silent, asleep_s = interval_s, 0, clock.asleep_s()
    query_s = latest_s = 0.0
    while activation.age_s + wait_s + _QUERIES_TO_COME * query_s < until_s:
        await clock.sleep(wait_s)
        asked_s = activation.age_s
        reading = await fetch()
        came_s = activation.age_s
        query_s, latest_s = min(latest_s, came_s - asked_s), came_s - asked_s
        slept_s = clock.asleep_s() - asleep_s
        if abs(slept_s) > interval_s:
            raise activation_void(
                f"the computer was asleep, or its date was set, by {slept_s:.1f} s"
            )
        if ages is None:
            ages, wait_s = ages_of(reading, interval_s), _wait_s(reading, interval_s)
        if reading.number is None and latest_s > interval_s + query_s:
            continue  # held up on its way, longer than its age may be unsure
        age_s = ages.age_of(reading, asked_s, came_s)
        if age_s is None:
            silent = _count_silence(silent)
            continue
        silent = 0
        if not isnan(reading.current_ma):
            yield Sample(age_s, reading.current_ma)


def _wait_s(reading: Reading, interval_s: float) -> float:
    """Return the time to wait between two fetches of a meter that gives readings like this."""
    if reading.number is not None:
        return interval_s
    return min(interval_s, max(interval_s / _LOOKS_PER_INTERVAL, _LOOK_EVERY_S))


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
