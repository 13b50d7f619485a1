"""A test point of the output: measured in a rested activation, held against its target."""

from __future__ import annotations

from collections.abc import AsyncIterator

from ohmwright.model.event import Event
from ohmwright.model.step import Point

from .doubt import Chosen, Doubt, doubt_in
from .point_measurement import Observation, observe
from .steps.base import SettingStep, StepRun
from .stop_rules import asked_current_ma
from .undoubted import Undoubted


async def output_points(step: SettingStep, work: StepRun) -> AsyncIterator[Event]:
    """The events of each point of `step` that has no result yet."""
    for point in step.points():
        if point.name in work.missing:
            async for event in _measured_point(step, point, work):
                yield event


async def _measured_point(step: SettingStep, point: Point, work: StepRun) -> AsyncIterator[Event]:
    session, timing, bench = work.session, work.timing, work.session.bench
    chosen = Chosen(step.mode, step.setting_w if point.setting_w is None else point.setting_w)
    asked_ma = asked_current_ma(point)

    async def measure() -> Observation:
        return await observe(
            session,
            point,
            power_w=chosen.setting_w,
            timing=timing,
            fetch=bench.analyzer.fetch_current,
        )

    def doubt(seen: Observation) -> Doubt | None:
        return doubt_in(session, seen.samples, asked_ma, seen.excess, seen.measured, point.target)

    await session.input.join("OUTPUT")
    await bench.generator.select(*chosen)
    measured = Undoubted(
        session,
        chosen,
        point.load_ohm,
        timing.max_on_s,
        measure,
        doubt,
        lambda seen: _in_words(seen, point),
    )
    async for event in measured.events():
        yield event
    result = _settled_doubts(measured).result(work.stage, step, point)
    yield session.point_done(result, "OUTPUT", *chosen)


def _settled_doubts(measured: Undoubted[Observation]) -> Observation:
    """The last observation, with what became of its doubts."""
    if measured.as_told is not None:
        return measured.seen.as_told(measured.as_told)
    twice = "measured twice" if measured.last_doubt == "far off" else ""
    return measured.seen.noted(twice).noted(measured.resolver.note)


def _in_words(seen: Observation, point: Point) -> str:
    """What was seen where something else was asked for, for a person."""
    if seen.measured is None:
        return seen.excess or seen.reason
    target = point.target
    return (
        f"{seen.measured.value:.4g} {target.unit} was measured where {target.value:g} "
        f"{target.unit} was asked for"
    )
