"""The diagnoses of power curves that count in a run."""

from __future__ import annotations

from collections.abc import Iterable

from .event import CurveDiagnosed, Event, RunResumed


def newest_diagnoses(events: Iterable[Event]) -> list[CurveDiagnosed]:
    """Return those made last: a run that goes on amid adjusting makes them all once more."""
    found: list[CurveDiagnosed] = []
    resumed = False
    for event in events:
        if isinstance(event, RunResumed):
            resumed = True
        elif isinstance(event, CurveDiagnosed):
            found = [event] if resumed else [*found, event]
            resumed = False
    return found
