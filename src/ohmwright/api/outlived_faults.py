"""The faults that a sweep on record went on after: what happened, and at which point."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from ohmwright.model.errors import Stopped
from ohmwright.model.event import Event, Fault, PointDone
from ohmwright.model.result import Result


def outlived_faults(events: Sequence[Event]) -> Iterator[str]:
    """Yield a line for each fault that a sweep went on after; none for a person's stop.

    What a fault told a person to do was of its time, and is left out.
    """
    before = list[Fault]()
    for event in events:
        if isinstance(event, Fault) and event.error != Stopped.__name__:
            before.append(event)
        elif isinstance(event, PointDone):
            yield from (_words(event.result, fault) for fault in before)
            before.clear()


def _words(result: Result, fault: Fault) -> str:
    happened = fault.message.partition(". ")[0].rstrip(".")
    read = ", with RF read back as off" if fault.rf_state == "off" else ""
    went_on = "no value, then gone on" if result.measured is None else "measured anew"
    return f"{result.point}: {went_on}{read}, after: {happened}."
