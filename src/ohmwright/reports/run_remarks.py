"""Remarks of a run for its certificate: comments, skipped and repeated work, unexpected RF."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import NamedTuple

from ohmwright.engine.trim_log import trims_moved
from ohmwright.model.assignment import PROGRAM
from ohmwright.model.event import (
    Asked,
    Commented,
    Event,
    FileAttached,
    Foretold,
    PointDone,
    RunResumed,
    ServiceLeft,
    SlowRelease,
    TrimMoved,
    TrimsStored,
    UnaskedRf,
    UnitIdentified,
)
from ohmwright.model.result import Result

from .drift_remarks import drift_remarks
from .text import (
    NOT_RECORDED,
    counted,
    minute_text,
    printable,
    unit_symbol,
    value_and_uncertainty,
    verdict_and_reason,
)

_ANSWER_WORDS = {
    "comment": "comment",
    "skip": "skipped",
    "back": "went back",
    "no answer": "no answer",
}
"""Words for the answers that every question takes. A stop is missing: it is reported as an
interruption of the run."""


def remarks_of_run(events: Sequence[Event]) -> tuple[str, ...]:
    """The remarks of a run, one line of printable text each.

    First, oldest first: what was told before RF, comments, skipped steps, steps begun anew,
    questions without an answer, slow releases, RF that nobody had asked for, service mode left
    without saving, and each result that a later measurement of the same point replaced. Then
    outputs that were drifting.
    """
    dated = [*_event_remarks(events), *_repetition_remarks(events)]
    dated.sort(key=lambda remark: remark.at)
    lines = (*(remark.words for remark in dated), *drift_remarks(events))
    return tuple(printable(line) for line in lines)


class _Remark(NamedTuple):
    at: datetime
    words: str


def _event_remarks(events: Iterable[Event]) -> Iterable[_Remark]:
    """One remark for each thing told, answer, slow release, unrequested RF, unsaved service."""
    is_moved = False
    for event in events:
        if words := _event_words(event, is_moved=is_moved):
            yield _Remark(event.at, f"{minute_text(event.at)}{words}")
        if isinstance(event, TrimMoved):
            is_moved = True
        elif isinstance(event, TrimsStored | ServiceLeft | RunResumed):
            is_moved = False


def _event_words(event: Event, *, is_moved: bool) -> str:
    """What is remarked of an event, after its time; empty where it needs no remark.

    `is_moved`: whether a move that is not stored is on record before it.
    """
    match event:
        case Asked() if event.answer in _ANSWER_WORDS:
            words = f": {event.words}" if event.words else ""
            who = event.told_by or NOT_RECORDED
            answer = _ANSWER_WORDS[event.answer]
            return f", {who}, asked \u201c{event.question}\u201d: {answer}{words}"
        case Foretold():
            return f": told before RF, {event.severity} of {event.step}: {event.what}"
        case Commented() | FileAttached() | UnitIdentified():
            return f", {_added_text(event)}"
        case SlowRelease():
            return f": {_slow_release_text(event)}"
        case UnaskedRf():
            seen = f"RF was read though nobody had asked for it ({event.seen})"
            return f": {seen}; {_ended(event)}"
        case ServiceLeft():
            undone = _undone(event, is_moved=is_moved)
            return f": service mode at {event.point} left without saving{undone}"
        case _:
            return ""


def _undone(event: ServiceLeft, *, is_moved: bool) -> str:
    """What leaving has undone; what a person pressed may be on no record, and is undone, too."""
    undone = "moves that were not stored are undone"
    if event.told_by:
        return f", as told by {event.told_by}: {undone}"
    return f": {undone}" if is_moved else "; no unstored move is on record"


def _added_text(event: Commented | FileAttached | UnitIdentified) -> str:
    """What was said or added beside the results, or how the unit was known."""
    match event:
        case Commented() if event.told_by == PROGRAM:
            return event.words
        case Commented():
            return f"{event.told_by}: comment: {event.words}"
        case FileAttached():
            one = event.attachment
            return f"{event.told_by}: attached {one.name}, {one.media_type}, SHA-256 {one.sha256}"
        case UnitIdentified():
            how = "by its port" if event.told_by is None else f"by its plate, {event.told_by}"
            return f"the unit was identified {how}: {event.seen}"


def _ended(event: UnaskedRf) -> str:
    on = "" if event.on_s is None else f"on for at most {event.on_s:.1f} s, "
    if event.keyed_by is None:
        return f"{on}it read off after OFF"
    return f"{on}it read off after {event.keyed_by} was told to release the foot switch"


def _slow_release_text(event: SlowRelease) -> str:
    if event.sent is not None and event.sent > 1:
        return (
            f"OFF was sent {event.sent} times: the output was read back as off "
            f"{event.took_s:.1f} s after the first"
        )
    if event.keyed_by is None:
        return f"the output was read back as off {event.took_s:.1f} s after OFF"
    return (
        f"{event.keyed_by} was told to release the foot switch, and the meter showed no current "
        f"{event.took_s:.0f} s later"
    )


def _repetition_remarks(events: Iterable[Event]) -> Iterable[_Remark]:
    """One remark for each result that a later result of the same point replaced.

    Points as left that had passed, and were measured again after trims were moved, share one.
    """
    latest: dict[tuple[str, str, str], Result] = {}
    done = [event for event in events if isinstance(event, PointDone)]
    moved = max((i for i, e in enumerate(done) if e.result.again == "adjusted"), default=len(done))
    void = list[PointDone]()
    for place, event in enumerate(done):
        result = event.result
        key = (result.stage, result.step, result.point)
        before, latest[key] = latest.get(key), result
        if before is None:
            continue
        if result.stage == "as_left" and place > moved and before.verdict == "pass":
            void.append(event)
            continue
        where = f"{result.stage.replace('_', ' ')}, {result.step}, {result.point}"
        text = f"{where} {_repetition_text(result)}; before: {_result_text(before)}"
        yield _Remark(event.at, f"{minute_text(event.at)}: {text}")
    if void:
        points = counted(len(void), "point")
        words = f"as left: {points} that had passed measured again after trims were moved"
        yield _Remark(void[-1].at, words)


def _repetition_text(result: Result) -> str:
    """That a point was done again; of an adjusted point, for which trims it was."""
    match result.again:
        case "checked":
            return f"measured again after {trims_moved(result.moved_trims)}"
        case "adjusted":
            return f"adjusted again after {trims_moved(result.moved_trims)}"
        case None:
            return "done again"


def _result_text(result: Result) -> str:
    """Value with uncertainty and unit, verdict and reason of a result, separated by commas."""
    words = [verdict_and_reason(result)]
    if result.measured is not None:
        value, expanded = value_and_uncertainty(result.measured)
        unit = unit_symbol(result.target, result.measured)
        words.insert(0, f"{value} ± {expanded} {unit}" if expanded else f"{value} {unit}")
    return ", ".join(filter(None, (part.strip() for part in words)))
