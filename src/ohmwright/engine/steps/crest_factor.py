"""The step kind `crest_factor`: peak over RMS of captured waveforms of the output."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Sequence
from dataclasses import dataclass
from math import isinf
from typing import ClassVar, Literal, NamedTuple

from pydantic import model_validator

from ohmwright.engine.doubt import Doubt, OutputSetting, VerdictAndReason, doubt_in, least_output_ma
from ohmwright.engine.judge import conformity, judge
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    expected_ma,
    full_current_within_range,
    load_available,
)
from ohmwright.engine.rested_activation import refuse_cut_short
from ohmwright.engine.sampling import samples
from ohmwright.engine.session import Session
from ohmwright.engine.undoubted import UndoubtedMeasurement
from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.instruments.required_messages import WAVEFORM
from ohmwright.model.errors import ExcessiveOutput
from ohmwright.model.event import Event
from ohmwright.model.hardware import Positive
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured, Result, Sample
from ohmwright.model.step import Point, Timing, check_units
from ohmwright.model.tolerance import Tolerance
from ohmwright.uncertainty.distributions import coverage_factor
from ohmwright.uncertainty.inputs import from_readings
from ohmwright.uncertainty.waveform import waveform_parameters
from ohmwright.wire.command_set import Verb

from .base import SettingStep, StepRun

_CAPTURES = 8
"""Waveforms captured in one activation."""
_FEWEST_CAPTURES = 3
"""Differing waveforms that a value needs."""
_LEFT_S = 2.0
"""Time left of the activation's limit below which no capture begins."""


class CrestFactorStep(SettingStep):
    """Crest factor of the output: peak over RMS of the captured current.

    The standard speaks of the open-circuit voltage (from memory, unverified); what a load
    resistance shows is the current, of the same shape.
    """

    analyzer_messages: ClassVar[tuple[Verb, ...]] = WAVEFORM
    kind: Literal["crest_factor"]
    load_ohm: Positive
    crest_factor: Positive
    tolerance: Tolerance

    @model_validator(mode="after")
    def _units_fit(self) -> CrestFactorStep:
        check_units("crest_factor", self.tolerance)
        return self

    def points(self) -> tuple[Point, ...]:
        """Return the one point with its target."""
        quantity, wanted = "crest_factor", self.crest_factor
        return (self.point(self.load_ohm, quantity, wanted, self.tolerance, "crest factor"),)

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where mode, setting, time, load, range or waveform capture is missing."""
        yield from super().requirements(bench, timing)
        yield from load_available(self.load_ohm, bench, key="load_ohm")
        yield from full_current_within_range(self.mode, self.setting_w, self.load_ohm, bench)
        if not bench.analyzer.waveform:
            yield "kind", "the analyzer captures no waveform"

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Capture several waveforms at the stated age of a rested activation; yield the events."""
        session, point = work.session, self.points()[0]
        activation = _activation(work, self, point)
        await session.input.join("OUTPUT")
        await session.bench.generator.select(*activation.chosen)
        async for event in activation.events():
            yield event
        result = _result(work, self, point, activation)
        yield session.point_done(result, "OUTPUT", *activation.chosen)


class WaveformShape(NamedTuple):
    """Crest factor of one captured waveform, and its resolution."""

    crest_factor: float
    """NaN where no current flowed."""
    per_count: float
    """Change of the crest factor by one count of the digitiser at the peak."""


@dataclass(frozen=True)
class _Captured:
    """The waveforms captured in one activation, and its readings."""

    captures: int
    """Number of waveforms captured."""
    shapes: tuple[WaveformShape, ...]
    """Of the captures that differ: a waveform that comes again was not captured anew."""
    on_s: float
    samples: tuple[Sample, ...]
    excess: str = ""


def _activation(
    work: StepRun, step: CrestFactorStep, point: Point
) -> UndoubtedMeasurement[_Captured]:
    session, age_s = work.session, work.timing.age_s
    mode = session.bench.generator.data.mode(step.mode)
    least_ma = least_output_ma(session, expected_ma(mode, step.setting_w, step.load_ohm))

    def doubt(seen: _Captured) -> Doubt | None:
        measured = mean_crest_factor(seen.shapes, age_s)
        return doubt_in(seen.samples, least_ma, seen.excess, measured, point.target)

    return UndoubtedMeasurement(
        session,
        OutputSetting(step.mode, step.setting_w),
        step.load_ohm,
        work.timing.max_on_s,
        lambda: _capture(session, step, point, work.timing),
        doubt,
        lambda seen: seen.excess or _deviation_text(mean_crest_factor(seen.shapes, age_s), point),
    )


def _deviation_text(measured: Measured | None, point: Point) -> str:
    value = 0.0 if measured is None else measured.value
    return f"A crest factor of {value:.3g} was measured where {point.target.value:g} was asked for"


async def _capture(
    session: Session, step: CrestFactorStep, point: Point, timing: Timing
) -> _Captured:
    tolerance = point.target.half_width / point.target.value
    session.target_band = None
    await session.rest(timing, power_w=step.setting_w, tolerance=tolerance)
    bench, taken, captures = session.bench, list[Sample](), list[WaveformCapture]()
    reading_s, before_s = 1 / bench.analyzer.data.meter.readings_per_s, session.on_s
    try:
        async with session.activation(
            load_ohm=step.load_ohm, power_w=step.setting_w, limit_s=timing.max_on_s
        ) as opened:
            async for sample in samples(
                opened,
                bench.analyzer.fetch_current,
                bench.clock,
                reading_s,
                until_s=timing.age_s + reading_s,
            ):
                taken.append(sample)
                session.take_reading(sample, opened)
            flows = bool(taken) and taken[-1].current_ma > bench.rf.zero_limit_ma
            while flows and len(captures) < _CAPTURES and opened.left_s > _LEFT_S:
                captures.append(await bench.analyzer.capture_waveform())
                await bench.clock.sleep(reading_s)
            on_s = opened.age_s
            await refuse_cut_short(bench.analyzer, opened)
    except ExcessiveOutput as excess:
        on_s = session.on_s - before_s
        return _Captured(0, (), on_s, tuple(taken), excess.happened.rstrip("."))
    differing = {captured.counts.tobytes(): captured for captured in captures}
    return _Captured(
        len(captures), tuple(map(waveform_shape, differing.values())), on_s, tuple(taken)
    )


def waveform_shape(captured: WaveformCapture) -> WaveformShape:
    """Return the crest factor of one capture, and its change by one count."""
    seen = waveform_parameters(captured.counts)  # the scale falls out of the ratio
    return WaveformShape(seen.crest_factor, seen.crest_factor / seen.peak if seen.peak else 0.0)


def _result(
    work: StepRun, step: CrestFactorStep, point: Point, activation: UndoubtedMeasurement[_Captured]
) -> Result:
    seen, verdict_instead = activation.latest, activation.verdict_instead
    measured = (
        mean_crest_factor(seen.shapes, work.timing.age_s) if verdict_instead is None else None
    )
    again = len(seen.shapes) < _FEWEST_CAPTURES <= seen.captures
    why = (
        "the analyzer gave the same waveform again instead of a new one"
        if again
        else "too few waveforms with a current in them"
    )
    no_value: VerdictAndReason = "not measured", why
    verdict = verdict_instead or no_value
    if measured is not None:
        verdict = judge(measured, point.target, point.decision)
    return Result(
        stage=work.stage,
        step=step.name,
        point=point.name,
        kind=step.kind,
        verdict=verdict[0],
        reason=activation.with_notes(verdict[1]),
        load_ohm=step.load_ohm,
        traceability="no scale",
        target=point.target,
        measured=measured,
        conformity=conformity(measured, point.target, point.decision),
        on_s=seen.on_s,
        samples=seen.samples,
    )


def mean_crest_factor(shapes: Sequence[WaveformShape], age_s: float) -> Measured | None:
    """Return the mean crest factor with its uncertainty; None with too few captures.

    Captures begin anywhere in the waveform, so they are independent. A scale error of meter or
    digitiser cancels in the ratio; the uncertainty is that of the captures' scatter, or of the
    digitiser's last count where they scatter by less. `age_s`: the age that the value holds at.
    """
    found = [shape for shape in shapes if shape.crest_factor >= 1.0]
    if len(found) < _FEWEST_CAPTURES:
        return None
    resolution = max(shape.per_count for shape in found)
    mean = from_readings("captures", [shape.crest_factor for shape in found], resolution)
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
