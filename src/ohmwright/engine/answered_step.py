"""The base of steps that a person or a file answers: a figure, a text, a choice; no RF."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import AsyncIterator, Iterator
from typing import Annotated, ClassVar

from pydantic import Field

from ohmwright.instruments.answer_requests import AnswerRequest
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import NO, Answer, Request
from ohmwright.model.event import Event
from ohmwright.model.given_values import GivenValue
from ohmwright.model.result import Result
from ohmwright.model.step import Stage, Timing

from .requirements import Abilities, Complaint
from .steps.base import Step, StepRun

_ANSWER = "answer"


class AnsweredStep(Step):
    """A step with one answer, which a file may give instead of a person."""

    takes_given_values: ClassVar[bool] = True
    prompt: Annotated[str, Field(min_length=1)]
    """What the person at the bench reads."""

    @abstractmethod
    def request(self, *, rf_follows: bool) -> AnswerRequest:
        """Return what is asked; it also says what a file may answer."""

    def to_be_sure(self, said: str) -> Request | None:  # noqa: ARG002
        """Return the question whether an accepted answer is meant; None where it may well be."""
        return None

    @abstractmethod
    def judged(self, said: str, result: Result) -> Result:
        """Return `result` completed by what an accepted answer says."""

    def words_asked(self) -> str:
        """Return the prompt."""
        return self.prompt

    @classmethod
    def answer_behind(cls, result: Result) -> str | None:
        """Return what was said."""
        return result.said or None

    def point_names(self) -> tuple[str, ...]:
        """Return the name of its one point, the answer."""
        return (_ANSWER,)

    def complaints(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:  # noqa: ARG002
        """Complain of nothing: `unanswered` does, for the stages that are run."""
        yield from ()

    def unanswered(self, bench: Abilities, stages: tuple[Stage, ...]) -> Iterator[Complaint]:
        """Complain of a given answer that is none, and where nobody is there to give one."""
        request = self.request(rf_follows=False)
        for given in bench.given.of_step(self.name, stages):
            if given is None and not bench.attended:
                yield "kind", "nobody is there to answer it; give its value by --values FILE"
            elif given is not None and request.answer(given.text) is None:
                yield "kind", f"{given.place}: {request.problem(given.text).rstrip('.')}"

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Take the answer from the file, else ask for it; yield the result."""
        operator = work.session.bench.operator
        given = work.session.given.of(self.name, work.stage)
        request = self.request(rf_follows=work.rf_follows)
        answer = None if given is None else request.answer(given.text)
        if answer is None:
            answer = await self._asked(operator, request)
        result = Result(
            stage=work.stage,
            step=self.name,
            point=_ANSWER,
            kind=self.kind,
            verdict="pass",
            said=answer.word,
            instrument=work.answers.get(self.instrument_named_by() or "", ""),
            readings_told_by=operator.name if given is None else _told_by(operator.name, given),
        )
        yield work.session.point_done(self.judged(answer.word, result), "none")

    async def _asked(self, operator: Operator, request: AnswerRequest) -> Answer:
        """Ask a person until an answer is given that may well be meant, or is said to be."""
        while True:
            answer = await operator.carry_out(request)
            unsure = self.to_be_sure(answer.word)
            if unsure is None or (await operator.carry_out(unsure)).word != NO.word:
                return answer


def _told_by(operator: str, given: GivenValue) -> str:
    return f"{operator}, from {given.source}"
