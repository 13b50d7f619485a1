"""Whether RF was told as off before a part of a run, where a person reads the meter.

Nothing else shows it at such a bench, so that without that answer nothing says RF was off.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from ohmwright.instruments.hand_requests import SHOWN_WITH_RF_OFF
from ohmwright.instruments.operator import NOT_ANSWERS
from ohmwright.model.event import (
    Asked,
    Event,
    Fault,
    RunResumed,
    RunStarted,
    StageStarted,
    StepStarted,
)

from .kept_documents import DocumentedPart, with_parts
from .opening_events import SOFTWARE

_NOT_TOLD = "RF was off before the work began, and no such answer is on record"


def unseen_beginnings(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each part that begins its work without RF told as off.

    The answer may stand before the part's start, as in older records.
    """
    begins, told = False, False
    for number, event, part in with_parts(events):
        match event:
            case RunStarted() | RunResumed():
                begins = part is not None and _must_be_told(part)
            case Asked(question=question, answer=answer) if question == SHOWN_WITH_RF_OFF:
                told = told or answer not in NOT_ANSWERS
            case StageStarted() if begins:
                if not told:
                    yield number, _NOT_TOLD
                begins = False
            case StepStarted() | Fault():
                told = False
            case _:
                pass


def _must_be_told(part: DocumentedPart) -> bool:
    """Whether nothing but a person can have said that RF is off; another version asks otherwise."""
    protections = part.began.protections
    by_hand = () if protections is None else protections.by_hand
    return "reading" in by_hand and part.began.software == SOFTWARE
