"""Whether each inspection has the verdict of the answer that is on record."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmwright.instruments.requests import NO, YES
from ohmwright.model.event import Asked, Event, PointDone, StepStarted
from ohmwright.model.result import Verdict

_KIND = "inspection"
_VERDICTS: dict[str, Verdict] = {YES.word: "pass", NO.word: "fail"}


def differing_inspections(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each inspection whose answer is another, or is missing.

    One that was skipped has neither.
    """
    answer: str | None = None
    for number, event in enumerate(events, start=1):
        match event:
            case StepStarted():
                answer = None
            case Asked(answer=said) if said in _VERDICTS:
                answer = said
            case PointDone(result=result) if result.kind == _KIND and (
                result.verdict in _VERDICTS.values()
            ):
                if answer is None:
                    yield number, f"{result.step}: {result.verdict}, and no answer is on record"
                elif _VERDICTS[answer] != result.verdict:
                    yield number, f"{result.step}: {result.verdict}, and the answer was {answer}"
