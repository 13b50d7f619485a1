"""Events that wait to be yielded: RF was on, or the run was cut short before they could be."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TypedDict

from ohmwright.model.event import Event


class Stamp(TypedDict):
    """The times that every event carries: UTC, and seconds of the bench's clock."""

    at: datetime
    bench_s: float


class PendingEvents:
    """Events that wait until RF is off, and what a person must know when a run ended early.

    A run yields them before its next event. After a run that was cancelled, its caller takes those
    that are left here.
    """

    def __init__(self) -> None:
        self._events: list[Event] = []
        self.on_s = 0.0
        """How long RF was on since the run was begun or resumed, in seconds."""
        self.on_at_s: float | None = None
        """Since when RF may be on besides, by the bench's clock; None where it was read as off."""
        self.left_open = ""
        """What was left open on the unit, and what a person must do about it; else empty."""

    def add(self, event: Event) -> None:
        """Keep `event` until it is taken."""
        self._events.append(event)

    def take(self) -> Iterable[Event]:
        """Return the events added since the last call, oldest first, and keep them no longer."""
        events, self._events = self._events, []
        return events
