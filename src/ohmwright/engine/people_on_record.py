"""Whether everybody whom the events of a part name is the person who began or resumed it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmwright.model.assignment import PROGRAM
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Asked,
    Commented,
    Event,
    FileAttached,
    PointDone,
    RunResumed,
    RunStarted,
    ServiceLeft,
    SlowRelease,
    TrimsStored,
    UnaskedRf,
    UnitIdentified,
)
from ohmwright.model.result import Result


def differing_people(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event that names somebody else.

    Presses are passed over: readings may have told them.
    """
    operator = None
    for number, event in enumerate(events, start=1):
        if isinstance(event, RunStarted | RunResumed):
            operator = event.operator
        for name in filter(None, _named(event)):
            if operator is not None and not _is(name, operator):
                yield number, f"it names {name}, and this part of the run was begun by {operator}"


def _is(name: str, operator: str) -> bool:
    """Whether a name is the operator's, also with the file that a figure came from."""
    return name in (operator, PROGRAM) or name.startswith(f"{operator}, from ")


def _named(event: Event) -> Iterable[str | None]:
    match event:
        case Asked() | Commented() | FileAttached() | UnitIdentified():
            return (event.told_by,)
        case ServiceLeft() | TrimsStored():
            return (event.told_by,)
        case ActivationOpened() | SlowRelease() | UnaskedRf():
            return (event.keyed_by,)
        case ActivationClosed():
            return (event.off_told_by,)
        case PointDone(result=result):
            return _named_in_result(result)
        case _:
            return ()


def _named_in_result(result: Result) -> Iterable[str | None]:
    who = (result.setting_told_by, result.path_told_by, result.load_told_by)
    return dict.fromkeys((*who, result.readings_told_by, result.keyed_by))
