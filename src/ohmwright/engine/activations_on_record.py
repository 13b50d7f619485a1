"""The activations on record behind each result: those of its part so far, and which are its own."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from ohmwright.model.event import (
    ActivationClosed,
    Event,
    PointDone,
    ProtectionProved,
    RunResumed,
    RunStarted,
    StepStarted,
)
from ohmwright.model.result import Result

from .kept_documents import DocumentedPart, with_parts

_LATEST_S = 2.0
"""RF goes off within this of the last reading; from memory of the benches here, no source."""


class ResultBehindRf(NamedTuple):
    """A result with the activations before it; to be looked at before the next one is asked for."""

    number: int
    """Of its event."""
    result: Result
    part: DocumentedPart
    activations: Sequence[ActivationClosed]
    """In which RF came on, of the part of the run until the result; the engine takes a unit as
    rested at the beginning of a part."""
    own: int
    """How many of the last of them are the result's own."""


def results_behind_rf(events: Iterable[Event]) -> Iterator[ResultBehindRf]:
    """Yield each result of a run with the activations before it."""
    flowed, own = list[ActivationClosed](), 0
    for number, event, part in with_parts(events):
        match event:
            case RunStarted() | RunResumed():
                flowed, own = [], 0
            case ActivationClosed():
                if event.on_s > 0:
                    flowed.append(event)
                    own += 1
            case ProtectionProved() | StepStarted():
                own = 0
            case PointDone(result=result):
                if part is not None:
                    yield ResultBehindRf(number, result, part, flowed, own)
                own = 0


def has_earlier_readings(result: Result) -> bool:
    """Return whether RF was on in other activations than that of the readings on record."""
    return result.on_s > result.samples[-1].age_s + _LATEST_S
