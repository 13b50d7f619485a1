"""The parts of a run: each from being begun or resumed to its end or its interruption."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from math import ceil, inf, isinf

from ohmwright.engine.run_so_far import bench_time_s, on_time_s, split_at_resumptions
from ohmwright.engine.service_on_record import may_be_in_service
from ohmwright.model.document import DocumentRef, Role
from ohmwright.model.event import (
    ActivationClosed,
    ActivationOpened,
    Event,
    Fault,
    PointDone,
    ProtectionProved,
    RunFinished,
    RunResumed,
    RunStarted,
    TrimMoved,
)
from ohmwright.model.protections import Protections
from ohmwright.model.result import Result
from ohmwright.model.traceability import Environment, Traceability

REASON_NOT_RECORDED = "no reason is on record"
_OF_THE_CERTIFICATE = {"meter accuracy", "meter drift", "load resistance", "load drift"}
"""Lines of a budget that only an analyzer's certificate gives."""


@dataclass(frozen=True)
class RunPart:
    """What one person measured in one part of a run."""

    number: int
    operator: str
    account: str
    """The computer's account it was begun from; empty in records that do not say."""
    begun_at: datetime
    ended_at: datetime
    """Time of its last event."""
    cut_short_by: str
    """Empty where the run was finished."""
    left_open: str
    """What was to be undone at the unit when the part ended; empty where nothing is known."""
    rf_left_open: bool
    """Whether RF was not known to be off when it was cut short."""
    protections: Protections | None
    """Protections of the bench against RF that stays on; None in records without them."""
    pressed_with_rf_on: bool
    """Whether a person worked the keys of the unit while RF was on."""
    proofs: tuple[str, ...]
    """Protections that were seen to work with RF on."""
    environment: Environment | None
    software: str | None
    """None in records that do not name it."""
    changed: tuple[Role, ...]
    """Roles of documents that differ from those of the part before."""
    results: tuple[Result, ...]
    unended: ActivationOpened | None
    """An activation whose end is not on record; None where every end is."""

    @property
    def unrecorded_on_s(self) -> float:
        """Limit of `unended` in s; 0 without one, infinite where it had no limit."""
        if self.unended is None:
            return 0.0
        return inf if self.unended.limit_s is None else self.unended.limit_s


def parts_of_run(events: Iterable[Event]) -> tuple[RunPart, ...]:
    """The parts of a run, in order; a part that a fault ended is followed by its resumption."""
    found: list[RunPart] = []
    so_far: list[Event] = []
    before: tuple[DocumentRef, ...] = ()
    for number, part in enumerate(split_at_resumptions(events), start=1):
        opening = next((e for e in part if isinstance(e, RunStarted | RunResumed)), None)
        now = () if opening is None else opening.documents
        so_far += part
        left_open = _left_open(part, so_far)
        found.append(_part(number, part, opening, _changed_documents(before, now), left_open))
        before = now
    return tuple(found)


def _changed_documents(
    before: Sequence[DocumentRef], now: Sequence[DocumentRef]
) -> tuple[Role, ...]:
    """The roles of documents that differ between two parts; empty where either kept none."""
    if not before or not now:
        return ()
    return tuple(
        dict.fromkeys(ref.role for ref in (*before, *now) if ref not in before or ref not in now)
    )


def run_totals_s(events: Sequence[Event]) -> tuple[float, float]:
    """How long RF was on, and the time at the bench, both in s over the whole of a finished run.

    Earlier programs, which kept no documents, counted the last part alone; the others are added.
    """
    *earlier, last = split_at_resumptions(events)
    finished = last[-1]
    assert isinstance(finished, RunFinished)
    opening = last[0]
    if isinstance(opening, RunStarted | RunResumed) and opening.documents:
        return finished.on_s, finished.bench_time_s
    before = [event for part in earlier for event in part]
    return finished.on_s + on_time_s(before), finished.bench_time_s + bench_time_s(before)


def on_time_text(on_s: float, parts: Iterable[RunPart]) -> str:
    """How long RF was on at most: `on_s`, and what of that is not on record.

    An activation counts from ON being sent to the first reading of off, so that RF was on for no
    longer. Where RF could not be read, nobody knows when it went off.
    """
    parts = tuple(parts)
    said = f"at most {ceil(on_s)} s"
    unrecorded_on_s = sum(part.unrecorded_on_s for part in parts)
    if any(part.rf_left_open for part in parts):
        return (
            f"an unknown time: an interruption left RF in a state that could not be read; {said} "
            "up to there and in all else"
        )
    if unrecorded_on_s == 0:
        return said
    more = "and more" if isinf(unrecorded_on_s) else f"and at most {ceil(unrecorded_on_s)} s more"
    return f"{said}, {more}: an activation has no end on record"


def _part(
    number: int,
    events: Sequence[Event],
    opening: RunStarted | RunResumed | None,
    changed: tuple[Role, ...],
    left_open: str,
) -> RunPart:
    """One part from its events; `opening` is the event that began or resumed it."""
    certified = None if opening is None else opening.traceability
    return RunPart(
        number=number,
        operator="" if opening is None else opening.operator,
        account="" if opening is None else opening.account,
        begun_at=events[0].at,
        ended_at=events[-1].at,
        cut_short_by=_interruption_cause(events),
        left_open=left_open,
        rf_left_open=any(isinstance(e, Fault) and e.rf_state != "off" for e in events),
        protections=None if opening is None else opening.protections,
        pressed_with_rf_on=any(
            isinstance(e, TrimMoved) and e.age_s is not None and e.told_by is not None
            for e in events
        ),
        proofs=tuple(event.what for event in events if isinstance(event, ProtectionProved)),
        environment=None if opening is None else opening.environment,
        software=None if opening is None else opening.software,
        changed=changed,
        results=tuple(
            _with_known_path(_with_traceability(e.result, certified), opening)
            for e in events
            if isinstance(e, PointDone)
        ),
        unended=_unended(events),
    )


def _interruption_cause(events: Sequence[Event]) -> str:
    """The message of the fault that ended a part; empty where the run was finished."""
    if isinstance(events[-1], RunFinished):
        return ""
    faults = [event.message for event in events if isinstance(event, Fault)]
    return faults[-1] if faults else REASON_NOT_RECORDED


def _left_open(part: Sequence[Event], so_far: Iterable[Event]) -> str:
    """What is to be undone at the unit after a part; `so_far`: the run's events until its end."""
    if _interruption_cause(part) != REASON_NOT_RECORDED:
        return next((event.left_open for event in part if isinstance(event, Fault)), "")
    if not may_be_in_service(so_far):
        return ""
    return (
        "The record ends amid an adjustment: the unit may still be in service mode. Leave it "
        "without saving; that undoes whatever was moved there and not saved."
    )


def _unended(events: Sequence[Event]) -> ActivationOpened | None:
    """The activation whose end is not on record; None where every end is."""
    if any(isinstance(event, Fault) and event.on_s is not None for event in events):
        return None
    last = [e for e in events if isinstance(e, ActivationOpened | ActivationClosed)][-1:]
    return next((event for event in last if isinstance(event, ActivationOpened)), None)


def _with_known_path(result: Result, opening: RunStarted | RunResumed | None) -> Result:
    """The result without an input path where neither analyzer nor person joined its input.

    Then the analyzer has one circuit, and the engine's OUTPUT is no more than a name for it.
    """
    protections = None if opening is None else opening.protections
    unjoined = protections is not None and not protections.path_set and not result.path_told_by
    if result.path != "OUTPUT" or not unjoined:
        return result
    return result.model_copy(update={"path": "only"})


def _with_traceability(result: Result, certified: Traceability | None) -> Result:
    """The result with its traceability, derived from its budget where the record does not state it.

    A record without it has the certificate at the opening of the part, and the lines of a budget
    show whether that certificate was used.
    """
    measured = result.measured
    if result.traceability is not None or measured is None or not measured.budget:
        return result
    entered = any(line.source in _OF_THE_CERTIFICATE for line in measured.budget)
    rests_on = certified if entered else "none"
    return result.model_copy(update={"traceability": rests_on})
