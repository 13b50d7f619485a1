"""Steps that only a person can do: inspections, instructions. What was said is on record anyway."""

from __future__ import annotations

from collections.abc import AsyncIterator

from ohmwright.instruments.requests import YES, Inspect, Instruct
from ohmwright.model.errors import InspectionFailed
from ohmwright.model.event import Event
from ohmwright.model.procedure import InspectionStep, InstructionStep, Stage
from ohmwright.model.result import Result

from .session import Session


async def person_step(
    session: Session, stage: Stage, step: InspectionStep | InstructionStep, *, rf_follows: bool
) -> AsyncIterator[Event]:
    """Have it done, or answered. `rf_follows`: RF comes on once it is.

    Raises InspectionFailed on a no, unless the step says that the run goes on all the same.
    """
    operator = session.bench.operator
    if isinstance(step, InstructionStep):
        await operator.carry_out(Instruct(step.text, rf_follows=rf_follows))
        return
    good = await operator.carry_out(Inspect(step.question, rf_follows=rf_follows)) == YES
    result = Result(
        stage=stage,
        step=step.name,
        point="answer",
        kind=step.kind,
        verdict="pass" if good else "fail",
    )
    yield session.point_done(result, "none")
    if not good and not step.go_on_if_no:
        raise InspectionFailed(
            f'Step {step.name}: {operator.name} answered no to "{step.question}"',
            "The run ends here, before anything else is switched on.",
            "Put it right and resume the run: it will be asked again. For a run that goes on all "
            "the same, write go_on_if_no = true in that step.",
        )
