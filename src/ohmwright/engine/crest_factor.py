"""Crest factor of the output: peak over RMS of captured waveforms."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass
from math import isinf
from typing import NamedTuple

from ohmwright.instruments.analyzer import Captured
from ohmwright.model.errors import ExcessiveOutput
from ohmwright.model.event import Event
from ohmwright.model.procedure import CrestFactorStep, Point, Stage, Timing
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured, Result, Sample, Verdict
from ohmwright.uncertainty.distributions import coverage_factor
from ohmwright.uncertainty.inputs import from_readings
from ohmwright.uncertainty.waveform import measure

from .doubt import AsTold, Chosen, DoubtResolver, doubt_in
from .judge import conformity, judge
from .leakage import expected_ma
from .rested_activation import refuse_cut_short
from .sampling import samples
from .session import Session

_CAPTURES = 8
_FEWEST = 3
_LEFT_S = 2.0
"""No capture begins when less than this is left of the activation."""


class Shape(NamedTuple):
    """What one captured waveform says."""

    crest_factor: float
    """NaN where nothing flowed."""
    per_count: float
    """What one count of the digitiser more at the peak would add to it."""


@dataclass(frozen=True)
class _Seen:
    captures: int
    shapes: tuple[Shape, ...]
    """Of those captures that differ: a waveform that comes again was not captured anew."""
    on_s: float
    samples: tuple[Sample, ...]
    excess: str = ""


async def crest_factor(
    session: Session, stage: Stage, step: CrestFactorStep, timing: Timing
) -> AsyncIterator[Event]:
    """Capture the waveform at the stated age, several times, in one rested activation."""
    point, chosen = step.points()[0], Chosen(step.mode, step.setting_w)
    clearing, generator = DoubtResolver.of(session, chosen), session.bench.generator
    asked_ma = expected_ma(generator.data.mode(step.mode), step.setting_w, step.load_ohm)
    await session.join_path("OUTPUT")
    await generator.select(*chosen)
    told: AsTold | None = None
    while told is None:
        yield session.activation_opened(
            load_ohm=step.load_ohm, limit_s=timing.max_on_s, setting_w=step.setting_w
        )
        seen = await _watch(session, step, point, timing)
        yield session.activation_closed()
        measured = _measured(seen.shapes, timing.age_s)
        doubt = doubt_in(session, seen.samples, asked_ma, seen.excess, measured, point.target)
        if doubt is None or clearing.stands(doubt):
            break
        told = await clearing.resolve(doubt, seen.excess or _in_words(measured, point))
    yield session.point_done(_result(stage, step, point, seen, timing, told), "OUTPUT", *chosen)


def _in_words(measured: Measured | None, point: Point) -> str:
    value = 0.0 if measured is None else measured.value
    return f"A crest factor of {value:.3g} was measured where {point.target.value:g} was asked for"


async def _watch(session: Session, step: CrestFactorStep, point: Point, timing: Timing) -> _Seen:
    tolerance = point.target.half_width / point.target.value
    session.aim = None
    await session.rest(timing, power_w=step.setting_w, tolerance=tolerance)
    bench, taken, captures = session.bench, list[Sample](), list[Captured]()
    reading_s, before_s = 1 / bench.analyzer.data.meter.readings_per_s, session.on_s
    try:
        async with session.activation(
            load_ohm=step.load_ohm, power_w=step.setting_w, limit_s=timing.max_on_s
        ) as opened:
            async for sample in samples(
                opened, bench.analyzer.fetch_current, bench.clock, reading_s, timing.age_s
            ):
                taken.append(sample)
                session.show(sample, opened)
            flows = bool(taken) and taken[-1].current_ma > bench.rf.none_below_ma
            while flows and len(captures) < _CAPTURES and opened.left_s > _LEFT_S:
                captures.append(await bench.analyzer.capture_waveform())
                await bench.clock.sleep(reading_s)
            on_s = opened.age_s
            await refuse_cut_short(bench.analyzer, opened)
    except ExcessiveOutput as excess:
        on_s = session.on_s - before_s
        return _Seen(0, (), on_s, tuple(taken), excess.happened.rstrip("."))
    differing = {captured.counts.tobytes(): captured for captured in captures}
    return _Seen(len(captures), tuple(map(_shape, differing.values())), on_s, tuple(taken))


def _shape(captured: Captured) -> Shape:
    seen = measure(captured.counts)  # the scale falls out of the ratio
    return Shape(seen.crest_factor, seen.crest_factor / seen.peak if seen.peak else 0.0)


def _result(
    stage: Stage,
    step: CrestFactorStep,
    point: Point,
    seen: _Seen,
    timing: Timing,
    told: AsTold | None,
) -> Result:
    measured = _measured(seen.shapes, timing.age_s) if told is None else None
    again = len(seen.shapes) < _FEWEST <= seen.captures
    why = (
        "the analyzer gave the same waveform again instead of a new one"
        if again
        else "too few waveforms with a current in them"
    )
    verdict: tuple[Verdict, str] = told or ("not measured", why)
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
        traceability="none",  # a ratio: no scale of the analyzer's enters
        target=point.target,
        measured=measured,
        conformity=conformity(measured, point.target, point.decision),
        on_s=seen.on_s,
        samples=seen.samples,
    )


def _measured(shapes: Sequence[Shape], age_s: float) -> Measured | None:
    """Mean of the captures. Each begins anywhere in the waveform, so they are independent.

    A scale error of meter or digitiser falls out of the ratio; what is left is their scatter,
    or the digitiser's last count where they scatter by less.
    """
    found = [shape for shape in shapes if shape.crest_factor >= 1.0]
    if len(found) < _FEWEST:
        return None
    resolution = max(shape.per_count for shape in found)
    mean = from_readings("captures", [shape.crest_factor for shape in found], resolution, lag1=0.0)
    factor = coverage_factor(mean.dof)
    alike = isinf(mean.dof)
    return Measured(
        quantity="crest_factor",
        value=mean.value,
        uncertainty=mean.standard_uncertainty,
        dof=min(mean.dof, AMPLE_DOF),
        age_s=age_s,
        expanded=factor * mean.standard_uncertainty,
        coverage_factor=factor,
        budget=(
            BudgetEntry(
                source="digitiser's last count" if alike else "captures",
                evaluation="B" if alike else "A",
                standard_uncertainty=mean.standard_uncertainty,
                dof=None if alike else mean.dof,
            ),
        ),
    )
