"""Steps that only a person can do: inspections, instructions."""

from __future__ import annotations

from collections.abc import AsyncIterator

from ohmwright.instruments.operator import Inspect, Instruct
from ohmwright.model.event import Asked, Event, PointDone
from ohmwright.model.procedure import InspectionStep, InstructionStep, Stage
from ohmwright.model.result import Result

from .session import Session


async def inspection(session: Session, stage: Stage, step: InspectionStep) -> AsyncIterator[Event]:
    """Ask the question; yes passes."""
    good = await session.bench.operator.carry_out(Inspect(step.question))
    yield Asked(**session.stamp(), question=step.question, answer="yes" if good else "no")
    result = Result(
        stage=stage,
        step=step.name,
        point="answer",
        kind=step.kind,
        verdict="pass" if good else "fail",
    )
    yield PointDone(**session.stamp(), result=result)


async def instruction(session: Session, step: InstructionStep) -> AsyncIterator[Event]:
    """Have it done."""
    await session.bench.operator.carry_out(Instruct(step.text))
    yield Asked(**session.stamp(), question=step.text, answer="done")
