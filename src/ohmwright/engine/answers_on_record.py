"""Whether what a procedure asks a person is on record, with the answers that its results say."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from ohmwright.instruments.operator import NOT_ANSWERS
from ohmwright.instruments.requests import DONE
from ohmwright.model.event import (
    Asked,
    Event,
    PointDone,
    RunFinished,
    RunStarted,
    StepStarted,
)
from ohmwright.model.result import Result
from ohmwright.model.step import Stage

from .answered_step import AnsweredStep
from .kept_documents import DocumentedPart, read_kept_procedure, with_parts
from .procedure import Procedure
from .steps import Step, step_kind


@dataclass
class _Answers:
    """What was answered so far, by step."""

    stage: Stage | None = None
    step: str = ""
    of_step: list[Asked] = field(default_factory=list[Asked])
    """Since the step began."""
    obeyed: set[tuple[Stage | None, str, str]] = field(default_factory=set)
    """Stage, step and text of each request that was answered with done, or skipped."""
    said: set[tuple[Stage, str]] = field(default_factory=set)
    """Stage and words of each answer that is a result."""

    def begin(self, stage: Stage, step: str) -> None:
        """A step begins, as it does anew in a run that goes on."""
        self.stage, self.step, self.of_step = stage, step, []

    def add(self, asked: Asked) -> None:
        """Take in what a person said."""
        self.of_step.append(asked)
        if asked.answer in (DONE.word, "skip"):
            self.obeyed.add((self.stage, self.step, asked.question))

    def last_to(self, question: str | None) -> str | None:
        """Return the last answer to a question of the step, to any where it is not known."""
        said = (
            one.answer
            for one in reversed(self.of_step)
            if one.answer not in NOT_ANSWERS and question in (one.question, None)
        )
        return next(said, None)


def differing_answers(events: Iterable[Event]) -> Iterator[tuple[int, str]]:
    """Yield number and description of each event whose question has another answer, or none.

    That is results of an inspection, a value, a text or a choice; skipped points; and the end of a
    run with an instruction that nobody answered. Where a procedure cannot be read here, the words
    of its questions are not compared, and instructions are passed over.
    """
    answers, stages = _Answers(), tuple[Stage, ...]()
    for number, event, part in with_parts(events):
        match event:
            case RunStarted():
                stages = event.stages
            case StepStarted():
                answers.begin(event.stage, event.step)
            case Asked():
                answers.add(event)
            case PointDone(result=result) if part is not None:
                for said in filter(
                    None, (_what_differs(result, answers, part), _not_named(result, answers))
                ):
                    yield number, f"{result.step}, {result.point}: {said}"
                answers.said.add((result.stage, result.said))
            case RunFinished() if part is not None:
                for said in _not_obeyed(_procedure(part), stages, answers):
                    yield number, said


def _procedure(part: DocumentedPart) -> Procedure | None:
    document = part.document("procedure")
    return None if document is None else read_kept_procedure(document)


def _what_differs(result: Result, answers: _Answers, part: DocumentedPart) -> str:
    """Return what the answers say against a result; empty where they agree."""
    if result.verdict == "not measured":
        return _not_skipped(result, answers)
    step = _step(result.step, _procedure(part))
    if isinstance(step, AnsweredStep) and (otherwise := _judged_otherwise(result, step)):
        return otherwise
    wanted = step_kind(result.kind).answer_behind(result)
    if wanted is None:
        return ""
    if result.said not in ("", wanted):
        return f"its result says '{result.said}', and its verdict follows from '{wanted}'"
    told_by, from_file = result.readings_told_by or "", f"{part.began.operator}, from "
    if told_by.startswith(from_file):
        return _not_given(told_by.removeprefix(from_file), part)
    question = None if step is None else step.words_asked()
    if question is not None and result.requirement and not result.requirement.endswith(question):
        return f"its result says '{result.requirement}', and its procedure asks '{question}'"
    said = answers.last_to(question)
    if said is None:
        return f"its result says that '{wanted}' was answered, and no answer is on record"
    return "" if said == wanted else f"its result says '{wanted}', and the answer was {said}"


def _not_named(result: Result, answers: _Answers) -> str:
    """Return that nobody named the instrument of a result; empty else."""
    if not result.instrument or (result.stage, result.instrument) in answers.said:
        return ""
    return f"it is said to be measured by '{result.instrument}', which nobody answered before"


def _step(name: str, procedure: Procedure | None) -> Step | None:
    """Return a step; None where it is not known."""
    steps = () if procedure is None else procedure.step
    return next((step for step in steps if step.name == name), None)


def _judged_otherwise(result: Result, step: AnsweredStep) -> str:
    """Return that what was said gives another figure or verdict; empty where it does not."""
    if step.request(rf_follows=False).answer(result.said) is None:
        return f"its result says '{result.said}', which is no answer to its question"
    said, gives = _judgement(result), _judgement(step.judged(result.said, result))
    return "" if said == gives else f"it says {said}, and its answer '{result.said}' gives {gives}"


def _judgement(result: Result) -> str:
    """Return figure and verdict of a result."""
    figure = "" if result.measured is None else f"{result.measured.value:g}: "
    return f"{figure}{result.verdict}"


def _not_given(file: str, part: DocumentedPart) -> str:
    """Return that the file from which a result was answered is not kept; empty where it is."""
    kept = part.document("given values")
    if kept is not None and kept.name == file:
        return ""
    return f"its answer is said to be from '{file}', and no such file is kept with the run"


def _not_skipped(result: Result, answers: _Answers) -> str:
    """Return that nobody skipped a result that says so; empty else."""
    skips = (one for one in answers.of_step if one.answer == "skip")
    reasons = (f"skipped by {one.told_by}: {one.words}" for one in skips)
    if not result.reason.startswith("skipped by ") or result.reason in reasons:
        return ""
    return f"it was {result.reason}; that nobody said by the record"


def _not_obeyed(
    procedure: Procedure | None, stages: Iterable[Stage], answers: _Answers
) -> Iterator[str]:
    """Yield each instruction of which nobody said, in a stage of the run, that it was done."""
    for stage in stages:
        for step in () if procedure is None else procedure.steps_in(stage):
            words = "" if step.point_names() else step.words_asked()
            if words and (stage, step.name, words) not in answers.obeyed:
                where = stage.replace("_", " ")
                yield f"{step.name}, {where}: no answer on record says that it was done or skipped"
