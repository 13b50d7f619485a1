"""Steps that switch nothing on: contact quality, inspections, instructions."""

from __future__ import annotations

from collections.abc import AsyncIterator

from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Inspect, Instruct
from ohmwright.model.event import Asked, Event, PointDone
from ohmwright.model.procedure import ContactQualityStep, InspectionStep, InstructionStep, Stage
from ohmwright.model.result import Result, Verdict

from .session import Session


async def contact_quality(
    session: Session, stage: Stage, step: ContactQualityStep
) -> AsyncIterator[Event]:
    """Raise the resistance step by step until the monitor alarms; hold its place against limits."""
    await session.bench.analyzer.set_path("CQUALITY")
    alarm_ohm = await _first_alarm_ohm(session.bench, step)
    # the monitor keeps RF off until it has seen a good contact again
    await session.bench.analyzer.set_path("OUTPUT")
    await session.bench.clock.sleep(step.wait_s)
    verdict, reason = _judge_alarm(alarm_ohm, step)
    result = Result(
        stage=stage,
        step=step.name,
        point="alarm",
        kind=step.kind,
        verdict=verdict,
        reason=reason,
        load_ohm=alarm_ohm,
    )
    yield PointDone(**session.stamp(), result=result)


async def _first_alarm_ohm(bench: Bench, step: ContactQualityStep) -> float | None:
    for index in range(int((step.to_ohm - step.from_ohm) / step.step_ohm + 1e-9) + 1):
        resistance_ohm = step.from_ohm + index * step.step_ohm
        await bench.analyzer.set_contact_resistance(resistance_ohm)
        await bench.clock.sleep(step.wait_s)
        if await bench.generator.contact_alarm():
            return resistance_ohm
    return None


def _judge_alarm(alarm_ohm: float | None, step: ContactQualityStep) -> tuple[Verdict, str]:
    if alarm_ohm is None:
        return "fail", f"no alarm up to {step.to_ohm:g} ohm"
    if alarm_ohm <= step.alarm_above_ohm:
        return "fail", f"alarm at {alarm_ohm:g} ohm already"
    if alarm_ohm - step.step_ohm >= step.alarm_below_ohm:
        return "fail", f"no alarm below {alarm_ohm:g} ohm"
    return "pass", f"alarm at {alarm_ohm:g} ohm"


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
