"""What a person should know of the events of a run, in words, and how urgent it is."""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.model.event import (
    Event,
    Fault,
    Foretold,
    RunResumed,
    RunStarted,
    ServiceLeft,
    SlowRelease,
    UnaskedRf,
)

from .rf_words import Urgency


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
        case SlowRelease():
            yield "care", _slow_release_words(event)
        case UnaskedRf():
            yield "alarm", f"RF was read though nobody had asked for it: {event.seen}."
        case ServiceLeft():
            yield "care", f"Service mode was left without saving at {event.point}."
        case Fault():
            yield "alarm", event.message
            if event.left_open:
                yield "alarm", event.left_open


def _slow_release_words(event: SlowRelease) -> str:
    if event.keyed_by is not None:
        told = f"{event.keyed_by} was told to release the foot switch"
        return f"RF was off {event.took_s:.1f} s after {told}."
    again = event.sent is not None and event.sent > 1
    sent, since = (f"OFF was sent {event.sent} times: ", "the first") if again else ("", "OFF")
    return f"{sent}RF was read back as off {event.took_s:.1f} s after {since}."
