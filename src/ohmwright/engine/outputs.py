"""Steps that measure the output against limits: test points, power curves."""

from __future__ import annotations

from collections.abc import AsyncIterator

from ohmwright.model.event import Event
from ohmwright.model.procedure import (
    HalfAndFullStep,
    OutputStep,
    Point,
    PowerCurveStep,
    Stage,
    Timing,
)

from .doubt import AsTold, Chosen, DoubtResolver, doubt_in
from .point_measurement import Observation, observe
from .session import Session
from .stop_rules import asked_current_ma

MeasuredStep = OutputStep | PowerCurveStep | HalfAndFullStep


async def measured_point(
    session: Session, stage: Stage, step: MeasuredStep, point: Point, timing: Timing
) -> AsyncIterator[Event]:
    """Measure `point` in a rested activation and hold its target against what was seen.

    What may not be the unit's answer to what was asked is cleared up, and measured once more.
    """
    bench = session.bench
    chosen = Chosen(step.mode, step.setting_w if point.setting_w is None else point.setting_w)
    clearing = DoubtResolver.of(session, chosen)
    told: AsTold | None = None
    await session.join_path("OUTPUT")
    await bench.generator.select(*chosen)
    while True:
        yield session.activation_opened(
            load_ohm=point.load_ohm, limit_s=timing.max_on_s, setting_w=chosen.setting_w
        )
        seen = await observe(
            session,
            point,
            power_w=chosen.setting_w,
            timing=timing,
            fetch=bench.analyzer.fetch_current,
        )
        yield session.activation_closed()
        doubt = doubt_in(
            session,
            seen.samples,
            asked_current_ma(point),
            seen.excess,
            seen.measured,
            point.target,
        )
        if doubt is None or clearing.stands(doubt):
            break
        told = await clearing.resolve(doubt, in_words(seen, point))
        if told is not None:
            seen = seen.as_told(told)
            break
    twice = "measured twice" if told is None and doubt == "far off" else ""
    seen = seen.noted(twice).noted("" if told is not None else clearing.note)
    yield session.point_done(seen.result(stage, step, point), "OUTPUT", *chosen)


def in_words(seen: Observation, point: Point) -> str:
    """What was seen where something else was asked for, for a person."""
    if seen.measured is None:
        return seen.excess or seen.reason
    target = point.target
    return (
        f"{seen.measured.value:.4g} {target.unit} was measured where {target.value:g} "
        f"{target.unit} was asked for"
    )
