"""What a person should know of the events of a run, in words, and how urgent it is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmwright.engine.as_left_evidence import MAY_BE_UNSAVED, may_be_unsaved
from ohmwright.instruments.hand_requests import FEWEST_TYPED
from ohmwright.model.event import (
    Event,
    Fault,
    Foretold,
    PointDone,
    RunResumed,
    RunStarted,
    ServiceLeft,
    SlowRelease,
    UnaskedRf,
)
from ohmwright.model.result import Result, latest

from .rf_words import Urgency

LOOK_IF_SAVED = "Look whether it is saved before the unit leaves the bench."


def unsaved_text(results: Sequence[Result]) -> str:
    """Return which results say that an adjustment may not have been saved; empty where none does.

    No verdict says so: it belongs beside that of the run.
    """
    unsure = [f"{one.step}, {one.point}" for one in latest(results) if may_be_unsaved(one)]
    return f"As left, {'; '.join(unsure)}: {MAY_BE_UNSAVED}. {LOOK_IF_SAVED}" if unsure else ""


def notices_of(event: Event) -> Iterator[tuple[Urgency, str]]:
    """Yield what a person should know of an event."""
    match event:
        case Foretold():
            yield (
                "care" if event.severity == "warning" else "calm",
                f"{event.severity}: step '{event.step}': {event.what}.",
            )
        case RunStarted() | RunResumed():
            if event.protections is not None and event.protections.guard_words:
                yield "care", f"{event.protections.guard_words}."
        case SlowRelease(keyed_by=None):
            yield "care", _slow_release_words(event)
        case UnaskedRf():
            yield "alarm", f"RF was read though nobody had asked for it: {event.seen}."
        case ServiceLeft():
            yield "care", f"Service mode was left without saving at {event.point}."
        case PointDone(result=result) if may_be_unsaved(result):
            yield "care", f"{result.step}, {result.point}: {result.reason}. {LOOK_IF_SAVED}"
        case Fault():
            yield "alarm", event.message
            if event.left_open:
                yield "alarm", event.left_open


def passing_notices_of(event: Event) -> Iterator[tuple[Urgency, str]]:
    """Yield what a person should know of an event until RF is keyed again."""
    match event:
        case SlowRelease(keyed_by=str() as who):
            told = f"{who} was told to release the foot switch"
            yield "calm", f"{told}; {event.took_s:.0f} s later the meter showed no current."
        case PointDone(result=result) if result.verdict == "not measured" and result.reason:
            words = f"{result.step}, {result.point}: not measured: {result.reason}"
            yield "care", f"{words}{_few_typed(result)}."
        case _:
            pass


def _few_typed(result: Result) -> str:
    """Return how many readings were typed where they are too few for a value; else empty."""
    count = len(result.samples)
    if result.readings_told_by is None or not 0 < count < FEWEST_TYPED:
        return ""
    return f" ({count} typed; a value takes {FEWEST_TYPED} at least)"


def _slow_release_words(event: SlowRelease) -> str:
    again = event.sent is not None and event.sent > 1
    sent, since = (f"OFF was sent {event.sent} times: ", "the first") if again else ("", "OFF")
    return f"{sent}RF was read back as off {event.took_s:.1f} s after {since}."
