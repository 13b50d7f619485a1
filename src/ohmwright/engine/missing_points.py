"""Points of the procedure kept with a finished run that have no result, though nobody left them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

from ohmwright.model.document import Document
from ohmwright.model.event import Event, PointDone, RunFinished, RunStarted
from ohmwright.model.step import Stage

from .kept_documents import read_kept_procedure, with_parts

_NAMED = 5
"""Points that are named; more are counted."""
_STAGES: Mapping[Stage, str] = {
    "as_found": "as found",
    "adjust": "adjusting",
    "as_left": "as left",
}

Points = Mapping[Stage, Sequence[tuple[str, str]]]
"""By stage the names of step and point, in the order of the procedure."""


def missing_points(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield the number of a run's end and, by stage, which points have no result.

    A point that was skipped or could not be measured has one, which says so. A run that went on
    goes by the procedure that it was resumed with. A procedure that cannot be read here, such as
    one with steps of another package, is passed over.
    """
    found: set[tuple[str, str, str]] = set()
    stages: tuple[Stage, ...] = ()
    for number, event, part in with_parts(events):
        match event:
            case RunStarted():
                stages = event.stages
            case PointDone(result=result):
                found.add((result.stage, result.step, result.point))
            case RunFinished() if part is not None:
                procedure = part.document("procedure")
                points = None if procedure is None else _points_of(procedure)
                for stage in stages if points is not None else ():
                    if said := _what_is_missing(stage, points or {}, found):
                        yield number, said


@lru_cache(maxsize=64)
def _points_of(document: Document) -> Points | None:
    """Return the points that must have a result; None where the procedure cannot be read."""
    procedure = read_kept_procedure(document)
    if procedure is None:
        return None
    return {
        stage: [(s.name, point) for s in procedure.steps_in(stage) for point in s.point_names()]
        for stage in _STAGES
    }


def _what_is_missing(stage: Stage, points: Points, found: set[tuple[str, str, str]]) -> str:
    """Return which points of a stage have no result, as a clause; empty where all have one."""
    due = points[stage]
    missing = [f"{step}, {point}" for step, point in due if (stage, step, point) not in found]
    if not missing:
        return ""
    more = f"; and {len(missing) - _NAMED} more" if len(missing) > _NAMED else ""
    return (
        f"{len(missing)} of the {len(due)} points {_STAGES[stage]} have no result, and no event "
        f"says why: {'; '.join(missing[:_NAMED])}{more}"
    )
