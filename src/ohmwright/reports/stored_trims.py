"""Whether the unit was told to keep the trims that were moved: else the work is lost with it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ohmwright.model.event import Event, RunResumed, ServiceLeft, TrimMoved, TrimsStored
from ohmwright.model.result import Result

from .text import printable

_BY_COMMAND = "by command"


def stored_trims_text(results: Iterable[Result], events: Sequence[Event]) -> str:
    """How each trim that ends elsewhere than it began was stored; empty where none does.

    One that a person counts from 0 has no count of its own, and ends elsewhere all the same.
    """
    adjusted = (result for result in results if result.stage == "adjust")
    moved = [one.point for one in adjusted if one.start_trim != one.final_trim]
    how = _how_stored(events)
    by_how: dict[str, list[str]] = {}
    for point in moved:
        by_how.setdefault(how.get(point, ""), []).append(point)
    said = " ".join(_sentence(one, points) for one, points in by_how.items())
    return printable(said) if said else ""


def _sentence(how: str, points: Sequence[str]) -> str:
    named = ", ".join(points)
    if how:
        return f"Trims stored in the unit {how} after they were moved: {named}."
    return f"Moved, and no storing in the unit is on record: {named}."


def _how_stored(events: Iterable[Event]) -> dict[str, str]:
    """By each point whose last move was stored, how; storing keeps the trims of all points."""
    stored: dict[str, str] = {}
    moved = set[str]()
    for event in events:
        match event:
            case TrimMoved():
                moved.add(event.point)
            case TrimsStored():
                how = f"as told by {event.told_by}" if event.told_by else _BY_COMMAND
                stored |= dict.fromkeys(moved, how)
                moved.clear()
            case ServiceLeft() | RunResumed():
                moved.clear()
            case _:
                pass
    return {point: how for point, how in stored.items() if point not in moved}
