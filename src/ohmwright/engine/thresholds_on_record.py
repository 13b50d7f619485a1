"""Whether results that rest on one another agree by the record.

That is where a contact quality alarm goes out and comes on, and the powers at rising settings.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

from ohmwright.model.event import Event, PointDone, RunResumed
from ohmwright.model.result import Measured, Result

from .kept_documents import DocumentedPart, read_kept_procedure, with_parts
from .steps.contact_quality import ContactQualityStep, apart_words
from .steps.monotonicity import MonotonicityStep, compared_levels, monotonicity_verdict

_Kind = TypeVar("_Kind")


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


def differing_levels(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each setting whose lower ones give another verdict.

    The limit of the lowest one is a verdict of its own. A part goes on with the levels before it.
    """
    levels: dict[tuple[str, str], dict[float, Measured]] = {}
    for number, event, part in with_parts(events):
        if not isinstance(event, PointDone):
            continue
        result = event.result
        step, measured = _step(result.step, part, MonotonicityStep), result.measured
        at_w = {} if step is None else dict(step.levels())
        if step is None or measured is None or result.point not in at_w:
            continue
        known, setting_w = levels.setdefault((result.stage, result.step), {}), at_w[result.point]
        below = [(lower_w, level) for lower_w, level in known.items() if lower_w < setting_w]
        known[setting_w] = measured
        again = monotonicity_verdict(step, measured, below)[0]
        if result.target is None and result.verdict in ("pass", "fail") and again != result.verdict:
            yield (
                number,
                f"{result.step}, {result.point} is recorded as {result.verdict}; by the powers on "
                f"record it is {again}: {compared_levels(measured, below)}",
            )


def _what_differs(alarm: Result | None, clear: Result, part: DocumentedPart | None) -> str:
    """Return what the alarm says against where it goes out; empty where they agree."""
    if alarm is None or alarm.measured is None or clear.measured is None:
        return ""
    apart_ohm = alarm.measured.value - clear.measured.value
    words, step = apart_words(apart_ohm), _step(clear.step, part, ContactQualityStep)
    if not clear.held_against_it.startswith(words):
        return f"says that it {clear.held_against_it}; by both values on record it {words}"
    verdict = clear.verdict if step is None else step.clear_verdict(apart_ohm)[0]
    if verdict != clear.verdict:
        return f"is recorded as {clear.verdict}; both values on record make it {verdict}"
    return ""


def _step(name: str, part: DocumentedPart | None, kind: type[_Kind]) -> _Kind | None:
    """Return a step of the kept procedure; None where that cannot be read here."""
    document = None if part is None else part.document("procedure")
    procedure = None if document is None else read_kept_procedure(document)
    steps = () if procedure is None else procedure.step
    return next((one for one in steps if one.name == name and isinstance(one, kind)), None)
