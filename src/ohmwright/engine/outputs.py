"""Steps that measure the output against limits: test points, power curves, HF leakage."""

from __future__ import annotations

from collections.abc import AsyncIterator

from ohmwright.instruments.analyzer import Analyzer
from ohmwright.model.event import ActivationClosed, ActivationOpened, Event, PointDone
from ohmwright.model.procedure import (
    HalfAndFullStep,
    LeakageStep,
    OutputStep,
    Point,
    PowerCurveStep,
    Stage,
    Timing,
)

from .measure import observe
from .session import Session
from .watch import Fetch

MeasuredStep = OutputStep | PowerCurveStep | HalfAndFullStep | LeakageStep


async def measured_point(
    session: Session, stage: Stage, step: MeasuredStep, point: Point, timing: Timing
) -> AsyncIterator[Event]:
    """Measure `point` in a rested activation and hold its target against what was seen."""
    setting_w = step.setting_w if point.setting_w is None else point.setting_w
    fetch = await _connect(session.bench.analyzer, step)
    await session.bench.generator.select(step.mode, setting_w)
    yield ActivationOpened(**session.stamp(), load_ohm=point.load_ohm, limit_s=timing.max_on_s)
    seen = await observe(session, point, power_w=setting_w, timing=timing, fetch=fetch)
    yield ActivationClosed(**session.stamp(), on_s=seen.on_s)
    yield PointDone(**session.stamp(), result=seen.result(stage, step, point))


async def _connect(analyzer: Analyzer, step: MeasuredStep) -> Fetch:
    """Join the terminals to the circuit that `step` measures; return what reads it."""
    if isinstance(step, LeakageStep):
        await analyzer.set_path("LEAKAGE")
        return analyzer.fetch_leakage
    await analyzer.set_path("OUTPUT")
    return analyzer.fetch_current
