"""Whether the limits on record are those of the procedure that was kept with them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache
from math import isclose

from ohmwright.model.document import Document
from ohmwright.model.event import DocumentKept, Event, PointDone
from ohmwright.model.result import Result
from ohmwright.model.tolerance import Target

from .kept_documents import read_kept_procedure, with_parts

_Targets = Mapping[tuple[str, str], Target]
"""By names of step and point."""


def differing_limits(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each result with other limits than its procedure's.

    A resumed run goes by the procedure that it was resumed with. Points for which a procedure
    states no limits, and procedures that cannot be read here, are passed over.
    """
    for number, event, part in with_parts(events):
        if isinstance(event, PointDone) and part is not None:
            procedure = part.document("procedure")
            stated = None if procedure is None else _stated_targets(procedure)
            if said := _what_differs(event.result, stated or {}):
                yield number, said


def unreadable_procedures(events: Iterable[Event]) -> tuple[str, ...]:
    """The names of kept procedures that cannot be read here, such as with steps of a package."""
    documents = (event.document for event in events if isinstance(event, DocumentKept))
    procedures = (one for one in documents if one.role == "procedure")
    return tuple(one.name for one in procedures if _stated_targets(one) is None)


@lru_cache(maxsize=64)
def _stated_targets(document: Document) -> _Targets | None:
    """The limits that a procedure states; None where it cannot be read."""
    procedure = read_kept_procedure(document)
    if procedure is None:
        return None
    return {
        (step.name, point): target
        for step in procedure.step
        for point, target in step.stated_targets().items()
    }


def _what_differs(result: Result, stated: _Targets) -> str:
    """What the procedure says against the limits of a result; empty where they agree."""
    target = stated.get((result.step, result.point))
    if target is None or (result.target is None and result.verdict not in ("pass", "fail")):
        return ""
    if result.target is not None and _same(result.target, target):
        return ""
    recorded = "no limits" if result.target is None else _limits(result.target)
    return (
        f"{result.step}, {result.point} is recorded with {recorded}; the procedure kept with it "
        f"states {_limits(target)}"
    )


def _same(one: Target, other: Target) -> bool:
    pairs = ((one.value, other.value), (one.lower, other.lower), (one.upper, other.upper))
    return one.quantity == other.quantity and all(isclose(a, b, rel_tol=1e-9) for a, b in pairs)


def _limits(target: Target) -> str:
    if target.one_sided:
        return f"a limit of at most {target.upper:.6g} {target.unit}"
    if target.lower_only:
        return f"a limit of at least {target.lower:.6g} {target.unit}"
    return f"limits of {target.lower:.6g} to {target.upper:.6g} {target.unit}"
