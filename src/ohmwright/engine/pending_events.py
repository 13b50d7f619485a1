"""What has happened and is not told yet: RF was on, or the run was cut short before it could be."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.model.event import Event


class PendingEvents:
    """Events that wait until RF is off.

    A run hands them out before its next event. Of a run that was cancelled, whoever keeps its
    events takes what is left here.
    """

    def __init__(self) -> None:
        self._events: list[Event] = []
        self.on_s = 0.0
        """How long RF was on since the run was begun or resumed."""
        self.left_open = ""
        """What a person must know of the unit and do about it when a run ended early, if any."""

    def add(self, event: Event) -> None:
        """Keep `event` for later."""
        self._events.append(event)

    def take(self) -> Iterable[Event]:
        """What has come since the last time, oldest first."""
        events, self._events = self._events, []
        return events
