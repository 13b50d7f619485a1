"""Whether a unit may have been left in service mode, by the events of its run."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.instruments.operator import NOT_ANSWERS
from ohmwright.instruments.requests import INTO_SERVICE, OUT_OF_SERVICE
from ohmwright.model.event import Asked, Event, ServiceLeft, StepStarted


def may_be_in_service(events: Iterable[Event]) -> bool:
    """Return whether the unit may be in service mode after `events`, the first of its run first.

    It may be from the beginning of a step that adjusts, not only from the answer to the request to
    enter: an answer waits until RF is off to be put on record, and a crash may come before. No
    other step begins in service mode.
    """
    inside = False
    for event in events:
        match event:
            case StepStarted(stage=stage):
                inside = stage == "adjust"
            case Asked(question=question, answer=answer) if answer not in NOT_ANSWERS:
                came_in = question.startswith(INTO_SERVICE)
                inside = (inside or came_in) and question not in OUT_OF_SERVICE
            case ServiceLeft(told_by=None):  # by port, and read back
                inside = False
            case _:
                pass
    return inside
