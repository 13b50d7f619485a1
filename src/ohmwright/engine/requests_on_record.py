"""Whether what a bench must have asked of a person, by what came of it, is on record.

Requests are known by their words, so records of another version are passed over: it may have asked
in others. What a person is asked about a doubt, and presses that readings told, are, too: whether
the run had to ask is not on record.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from ohmwright.instruments.hand_requests import (
    PRESSED,
    SHOWN_NOW,
    ConnectContact,
    ConnectLoad,
    typed_current,
)
from ohmwright.instruments.operator import NOT_ANSWERS
from ohmwright.instruments.requests import (
    INTO_SERVICE,
    NO,
    OUT_OF_SERVICE,
    YES,
    ConnectPath,
    EnterService,
    LeaveUnsaved,
    LookAtAlarm,
    SelectMode,
    StoreTrims,
)
from ohmwright.model.by_hand import NO_PORT
from ohmwright.model.event import (
    ActivationOpened,
    Asked,
    Event,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    ServiceLeft,
    StageStarted,
    StepStarted,
    TrimMoved,
    TrimsStored,
    UnitIdentified,
)
from ohmwright.model.result import Result

from .kept_documents import DocumentedPart, with_parts
from .opening_events import SOFTWARE
from .steps import step_kind
from .unit_identity import told_serial

_PATHS = {ConnectPath(path).text for path in ("OUTPUT", "LEAKAGE", "CQUALITY")}
_LOAD = ConnectLoad(0).text.partition(" 0 ")[0]
_CONTACT = ConnectContact(0).text.partition(" 0 ")[0]
_CONTACT_QUALITY = "contact_quality"


@dataclass
class _Requests:
    """What a person was asked and has answered in a part of a run."""

    of_step: list[Asked] = field(default_factory=list[Asked])
    """Since the step began."""
    of_result: list[Asked] = field(default_factory=list[Asked])
    """Since the result before."""
    load: str | None = None
    """The last request for a load resistance; None where one may stand from the run before."""
    path: str | None = None
    """The last request to join the input, as it was when the step began."""
    in_service: bool = False
    """Whether the unit was sent into service mode, and not out of it since."""
    identified: bool = False

    def add(self, asked: Asked) -> None:
        """Take in an answer; for requests to leave service mode also that nobody gave one."""
        if asked.question in OUT_OF_SERVICE:
            self.in_service = False
        if asked.answer in NOT_ANSWERS:
            return
        self.of_step.append(asked)
        self.of_result.append(asked)
        if asked.question.startswith(_LOAD):
            self.load = asked.question
        elif asked.question.startswith(INTO_SERVICE):
            self.in_service = True

    def begin_step(self) -> None:
        """A step begins."""
        joined = (one.question for one in reversed(self.of_step) if one.question in _PATHS)
        self.path = next(joined, self.path)
        self.of_step = []

    def has(self, text: str) -> bool:
        """Return whether this was answered since the result before."""
        return any(one.question == text for one in self.of_result)

    def step_has(self, text: str) -> bool:
        """Return whether this was answered since the step began."""
        return any(one.question == text for one in self.of_step)


def missing_requests(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event that takes a request which is not on record."""
    asked = _Requests()
    for number, event, part in with_parts(events):
        if part is None or part.began.software != SOFTWARE:
            continue
        if isinstance(event, RunStarted | RunResumed):
            asked = _Requests()
        elif isinstance(event, Asked):
            asked.add(event)
        else:
            for said in _what_is_missing(event, asked, part):
                yield number, f"{said}, and no such answer is on record"
            _go_on(event, asked)


def _go_on(event: Event, asked: _Requests) -> None:
    """Note what an event ends or shows."""
    match event:
        case StepStarted():
            asked.begin_step()
        case PointDone():
            asked.of_result = []
        case ActivationOpened(load_ohm=load_ohm):
            asked.load = ConnectLoad(load_ohm).text
        case UnitIdentified():
            asked.identified = True
        case _:
            pass


def _what_is_missing(event: Event, asked: _Requests, part: DocumentedPart) -> Iterator[str]:
    """Yield what an event says that a person must have answered for, and did not."""
    match event:
        case UnitIdentified(told_by=str(), seen=seen):
            if all(one.answer != seen for one in asked.of_result):
                yield f"the plate was read as '{seen}'"
        case StageStarted() | RunFinished():
            if isinstance(part.began, RunStarted) and not asked.identified:
                yield from _not_identified(part.began)
            if asked.in_service:
                yield "service mode was left by hand"
        case ActivationOpened(load_ohm=load_ohm) if "load" in _by_hand(part):
            if asked.load not in (None, ConnectLoad(load_ohm).text):
                yield f"a load of {load_ohm:g} ohm was set by hand"
        case TrimMoved(told_by=who) if who == part.began.operator and event.counts:
            if not any(f"Press {event.key or ''}" in one.question for one in asked.of_result):
                yield f"the trim of {event.point} was moved as told by {who}"
        case TrimsStored(told_by=str()) if not asked.has(StoreTrims().text):
            yield "an adjustment was saved by hand"
        case ServiceLeft(told_by=str()) if not asked.has(LeaveUnsaved().text):
            yield "service mode was left by hand, without saving"
        case PointDone(result=result) if result.samples or result.measured is not None:
            for said in _missing_of_result(result, asked, part):
                yield f"{result.step}, {result.point}: {said}"
        case _:
            pass


def _not_identified(began: RunStarted) -> Iterator[str]:
    """Yield that a unit of the register was not identified, which it says or a person reads."""
    if began.registered is None:
        return
    if NO_PORT in began.generator:
        yield "a unit without a port has its serial number read from its plate"
    elif told_serial(began.generator, began.asset.serial) is not None:
        yield "a unit that says its serial number is identified by it"


def _missing_of_result(result: Result, asked: _Requests, part: DocumentedPart) -> Iterator[str]:
    """Yield what a result with a value or readings takes, and was not answered."""
    by_hand, said = _by_hand(part), {one.answer for one in asked.of_result}
    if result.setting_told_by is not None or _has_no_port(part.table("bench")):
        yield from _not_worked(result, asked)
    match result.path:
        case "OUTPUT" | "LEAKAGE" | "CQUALITY" as path if result.path_told_by is not None:
            text = ConnectPath(path).text
            if text != asked.path and not asked.step_has(text):
                yield f"the input was joined to {path} by hand"
    if "foot switch" in by_hand and result.samples and PRESSED.word not in said:
        yield "the foot switch was pressed"
    set_contact = any(one.question.startswith(_CONTACT) for one in asked.of_step)
    if "contact" in by_hand and result.kind == _CONTACT_QUALITY and not set_contact:
        yield "contact resistances were set by hand"
    if "reading" in by_hand:
        yield from _not_typed(result, asked)


def _not_worked(result: Result, asked: _Requests) -> Iterator[str]:
    """Yield what a result takes of a person at the unit, and was not answered."""
    match result.mode, result.setting_w:
        case str() as mode, float() as setting_w:
            if not asked.step_has(SelectMode(mode, setting_w).text):
                yield f"{mode}, {setting_w:g} W was chosen by hand"
        case _:
            pass
    if result.stage == "adjust" and not asked.step_has(EnterService(result.point).text):
        yield "service mode was entered by hand"
    if result.kind == _CONTACT_QUALITY:
        said = {one.answer for one in asked.of_step if one.question == LookAtAlarm().text}
        if not said >= {YES.word, NO.word}:
            yield "a person saw the alarm change"


def _not_typed(result: Result, asked: _Requests) -> Iterator[str]:
    """Yield how many readings of a result nobody typed."""
    alone = step_kind(result.kind).activates_for_each_result
    typed = Counter(
        current.current_ma
        for one in (asked.of_result if alone else asked.of_step)
        if one.question.endswith(SHOWN_NOW) and (current := typed_current(one.answer)) is not None
    )
    read = Counter(sample.current_ma for sample in result.samples)
    if missing := (read - typed).total():
        yield f"{missing} of its {len(result.samples)} readings were typed"


def _by_hand(part: DocumentedPart) -> tuple[str, ...]:
    protections = part.began.protections
    return () if protections is None else protections.by_hand


def _has_no_port(bench: Mapping[str, Any]) -> bool:
    """Return whether the bench has one unit, without a link."""
    return "generators" not in bench and "link" not in bench.get("generator", {"link": None})
