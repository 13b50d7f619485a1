"""The step kind `inspection`: a question that a person answers with yes or no."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Literal

from ohmwright.instruments.requests import NO, YES, Inspect
from ohmwright.model.errors import InspectionFailed
from ohmwright.model.event import Event
from ohmwright.model.result import Result

from .base import PersonStep, StepRun

_ANSWER = "answer"


class InspectionStep(PersonStep):
    """A question that a person answers with yes (pass) or no (fail)."""

    kind: Literal["inspection"]
    question: str
    go_on_if_no: bool = False
    """Whether a no lets the run go on; else it ends, and a resumed run asks again."""

    def point_names(self) -> tuple[str, ...]:
        """Return the name of its one point, the answer."""
        return (_ANSWER,)

    @property
    def requirement(self) -> str:
        """What must be answered to which question, as papers say it."""
        return f"{YES.word} to: {self.question}"

    def words_asked(self) -> str:
        """Return the question."""
        return self.question

    @classmethod
    def answer_behind(cls, result: Result) -> str | None:
        """Return the answer by the verdict; None for one that was skipped."""
        return {"pass": YES.word, "fail": NO.word}.get(result.verdict)

    def is_finished_by(self, result: Result) -> bool:
        """Return False for a no that ended the run: a resumed run asks again."""
        return result.verdict != "fail" or self.go_on_if_no

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Ask, and yield the result; raise InspectionFailed on a no that ends the run."""
        operator = work.session.bench.operator
        asked = Inspect(self.question, rf_follows=work.rf_follows)
        good = await operator.carry_out(asked) == YES
        result = Result(
            stage=work.stage,
            step=self.name,
            point=_ANSWER,
            kind=self.kind,
            verdict="pass" if good else "fail",
            requirement=self.requirement,
            said=(YES if good else NO).word,
            readings_told_by=operator.name,
        )
        yield work.session.point_done(result, "none")
        if not good and not self.go_on_if_no:
            raise InspectionFailed(
                f'Step {self.name}: {operator.name} answered no to "{self.question}"',
                "The run ends here, before anything else is switched on.",
                "Put it right and resume the run: it will be asked again. For a run that goes on "
                "all the same, write go_on_if_no = true in that step.",
            )
