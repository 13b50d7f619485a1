"""Readings of an open activation, each with its age, none twice."""

from __future__ import annotations

from collections.abc import AsyncIterator, Awaitable, Callable
from math import isnan

from ohmwright.instruments.analyzer import Reading
from ohmwright.model.errors import ProtocolError
from ohmwright.model.result import Sample
from ohmwright.wire.clock import Clock

from .activation import Activation

_SILENT_READINGS = 20
"""So many reading intervals without a new reading mean that the meter has stopped."""


async def samples(
    activation: Activation,
    fetch: Callable[[], Awaitable[Reading]],
    clock: Clock,
    interval_s: float,
    until_s: float,
) -> AsyncIterator[Sample]:
    """Yield each new reading until the activation is `until_s` old.

    The meter numbers its readings and takes one every `interval_s`, so a reading seen late
    is dated by its number and not by when it was fetched. Raises ProtocolError when the numbers
    stand still or run back: a repeated or foreign reply must not pass for a reading.
    """
    last: Reading | None = None
    age_s, silent = 0.0, 0
    while activation.age_s < until_s:
        await clock.sleep(interval_s)
        reading = await fetch()
        if last is not None and reading.number == last.number:
            silent = _count_silence(silent)
            continue
        age_s = _age_of(reading, last, age_s, activation.age_s, interval_s)
        last, silent = reading, 0
        if not isnan(reading.current_ma):
            yield Sample(age_s, reading.current_ma)


def _age_of(
    reading: Reading, last: Reading | None, last_age_s: float, seen_s: float, interval_s: float
) -> float:
    if last is None:
        return seen_s
    if reading.number < last.number:
        raise ProtocolError(
            f"The meter's reading number ran back from {last.number} to {reading.number}.",
            "The reply may be another instrument's, or the analyzer has restarted.",
            "Check the cabling, then run again; points without a result are measured anew.",
        )
    return min(seen_s, last_age_s + interval_s * (reading.number - last.number))


def _count_silence(silent: int) -> int:
    if silent >= _SILENT_READINGS:
        raise ProtocolError(
            f"The meter has given no new reading for {silent} reading intervals.",
            "It has stopped, or an old reply is repeated.",
            "Check the analyzer, then run again.",
        )
    return silent + 1
