"""Crest factor of the output: peak over RMS of captured waveforms."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass

from ohmwright.metrology.distributions import coverage_factor
from ohmwright.metrology.inputs import from_readings
from ohmwright.metrology.waveform import measure
from ohmwright.model.event import ActivationClosed, ActivationOpened, Event, PointDone
from ohmwright.model.procedure import CrestFactorStep, Point, Stage, Timing
from ohmwright.model.result import BudgetEntry, Measured, Result, Sample, Verdict

from .activation import off_below_ma
from .judge import conformity, judge
from .sampling import samples
from .session import Session
from .watch import refuse_cut_short

_CAPTURES = 8
_FEWEST = 3
_LEFT_S = 2.0
"""No capture begins when less than this is left of the activation."""


@dataclass(frozen=True)
class _Seen:
    crest_factors: tuple[float, ...]
    on_s: float
    samples: tuple[Sample, ...]


async def crest_factor(
    session: Session, stage: Stage, step: CrestFactorStep, timing: Timing
) -> AsyncIterator[Event]:
    """Capture the waveform at the stated age, several times, in one rested activation."""
    point = step.points()[0]
    await session.bench.analyzer.set_path("OUTPUT")
    await session.bench.generator.select(step.mode, step.setting_w)
    yield ActivationOpened(**session.stamp(), load_ohm=step.load_ohm, limit_s=timing.max_on_s)
    seen = await _watch(session, step, point, timing)
    yield ActivationClosed(**session.stamp(), on_s=seen.on_s)
    yield PointDone(**session.stamp(), result=_result(stage, step, point, seen, timing))


async def _watch(session: Session, step: CrestFactorStep, point: Point, timing: Timing) -> _Seen:
    tolerance = point.target.half_width / point.target.value
    await session.rest(timing, power_w=step.setting_w, tolerance=tolerance)
    bench, taken, found = session.bench, list[Sample](), list[float]()
    reading_s = 1 / bench.analyzer.data.meter.readings_per_s
    async with session.activation(
        load_ohm=step.load_ohm, power_w=step.setting_w, limit_s=timing.max_on_s
    ) as opened:
        async for sample in samples(
            opened, bench.analyzer.fetch_current, bench.clock, reading_s, timing.age_s
        ):
            taken.append(sample)
            session.on_sample(sample)
            opened.note_power(sample.current_ma, step.load_ohm)
        flows = bool(taken) and taken[-1].current_ma > off_below_ma(bench.analyzer)
        while flows and len(found) < _CAPTURES and opened.age_s < timing.max_on_s - _LEFT_S:
            captured = await bench.analyzer.capture_waveform()
            found.append(measure(captured.counts, captured.amps_per_count).crest_factor)
            await bench.clock.sleep(reading_s)
        on_s = opened.age_s
        await refuse_cut_short(bench.analyzer, opened)
    return _Seen(tuple(found), on_s, tuple(taken))


def _result(
    stage: Stage, step: CrestFactorStep, point: Point, seen: _Seen, timing: Timing
) -> Result:
    measured = _measured(seen.crest_factors, timing.age_s)
    verdict: tuple[Verdict, str] = "not measured", "too few waveforms with a current in them"
    if measured is not None:
        verdict = judge(measured, point.target, point.decision)
    return Result(
        stage=stage,
        step=step.name,
        point=point.name,
        kind=step.kind,
        verdict=verdict[0],
        reason=verdict[1],
        load_ohm=step.load_ohm,
        target=point.target,
        measured=measured,
        conformity=conformity(measured, point.target, point.decision),
        on_s=seen.on_s,
        samples=seen.samples,
    )


def _measured(crest_factors: Sequence[float], age_s: float) -> Measured | None:
    """Mean of the captures. Each begins anywhere in the waveform, so they are independent.

    A scale error of meter or digitiser falls out of the ratio; what is left is their scatter.
    """
    found = [value for value in crest_factors if value >= 1.0]
    if len(found) < _FEWEST:
        return None
    mean = from_readings("captures", found, lag1=0.0)
    factor = coverage_factor(mean.dof)
    return Measured(
        quantity="crest_factor",
        value=mean.value,
        uncertainty=mean.standard_uncertainty,
        dof=mean.dof,
        age_s=age_s,
        expanded=factor * mean.standard_uncertainty,
        coverage_factor=factor,
        budget=(
            BudgetEntry(
                source="captures",
                evaluation="A",
                standard_uncertainty=mean.standard_uncertainty,
                dof=mean.dof,
            ),
        ),
    )
