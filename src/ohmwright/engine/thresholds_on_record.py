"""Whether where a contact quality alarm goes out agrees with where it comes on, by the record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmwright.model.event import Event, PointDone, RunResumed
from ohmwright.model.result import Result

from .kept_documents import DocumentedPart, read_kept_procedure, with_parts
from .steps.contact_quality import ContactQualityStep, apart_words


def differing_thresholds(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each threshold that the other one contradicts.

    Both are of one search: one of a part before is of another, and is not compared.
    """
    alarms: dict[tuple[str, str], Result] = {}
    for number, event, part in with_parts(events):
        if isinstance(event, RunResumed):
            alarms = {}
        elif isinstance(event, PointDone) and event.result.kind == "contact_quality":
            result = event.result
            of_step = (result.stage, result.step)
            if result.point == "alarm":
                alarms[of_step] = result
            elif said := _what_differs(alarms.get(of_step), result, part):
                yield number, f"{result.step}, {result.point} {said}"


def _what_differs(alarm: Result | None, clear: Result, part: DocumentedPart | None) -> str:
    """Return what the alarm says against where it goes out; empty where they agree."""
    if alarm is None or alarm.measured is None or clear.measured is None:
        return ""
    apart_ohm = alarm.measured.value - clear.measured.value
    words, step = apart_words(apart_ohm), _step(clear.step, part)
    if not clear.held_against_it.startswith(words):
        return f"says that it {clear.held_against_it}; by both values on record it {words}"
    verdict = clear.verdict if step is None else step.clear_verdict(apart_ohm)[0]
    if verdict != clear.verdict:
        return f"is recorded as {clear.verdict}; both values on record make it {verdict}"
    return ""


def _step(name: str, part: DocumentedPart | None) -> ContactQualityStep | None:
    """Return a step of the kept procedure; None where that cannot be read here."""
    document = None if part is None else part.document("procedure")
    procedure = None if document is None else read_kept_procedure(document)
    steps = () if procedure is None else procedure.step
    found = (one for one in steps if one.name == name and isinstance(one, ContactQualityStep))
    return next(found, None)
