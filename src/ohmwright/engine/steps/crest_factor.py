"""The step kind `crest_factor`: peak over RMS of captured waveforms of the output."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Sequence
from math import inf
from typing import ClassVar, Literal

from pydantic import model_validator

from ohmwright.engine.crest_factor_value import (
    CapturedWaveforms,
    CaptureLimits,
    capture_limits,
    waveform_shape,
)
from ohmwright.engine.doubt import Doubt, OutputSetting, VerdictAndReason
from ohmwright.engine.judge import conformity, judge
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    current_within_range,
    expected_ma,
    load_available,
)
from ohmwright.engine.rested_activation import refuse_cut_short
from ohmwright.engine.sampling import samples
from ohmwright.engine.session import Session
from ohmwright.engine.undoubted import UndoubtedMeasurement, doubt_in, least_output_ma
from ohmwright.engine.watched_rest import rest
from ohmwright.instruments.analyzer import WaveformCapture
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.required_messages import WAVEFORM
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.errors import ExcessiveOutput
from ohmwright.model.event import Event
from ohmwright.model.hardware import Positive
from ohmwright.model.result import Measured, Result, Sample
from ohmwright.model.step import Point, Timing, check_units
from ohmwright.model.tolerance import Tolerance
from ohmwright.uncertainty.waveform import missed_peak, samples_needed
from ohmwright.wire.command_set import Verb

from .base import SettingStep, StepRun

_CAPTURES = 8
"""Waveforms captured in one activation."""
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

    @classmethod
    def is_covered_by(cls, certificate: AnalyzerCertificate) -> bool:  # noqa: ARG003
        """Return whether an analyzer certificate may say something of what it measures."""
        return False

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where mode, setting, time, load, range or waveform capture is missing."""
        yield from super().requirements(bench, timing)
        yield from load_available(self.load_ohm, bench, key="load_ohm")
        yield from current_within_range(self.mode, self.setting_w, self.load_ohm, bench)
        if not bench.analyzer.waveform:
            yield "kind", "the analyzer captures no waveform"
        yield from self._sampled_too_slowly(bench)

    def _sampled_too_slowly(self, bench: Abilities) -> Iterator[Complaint]:
        """Complain where the samples may miss more of a peak than the tolerance allows."""
        mode, rate_hz = bench.generator.mode(self.mode), bench.analyzer.digitiser.sample_rate_hz
        if mode is None or mode.carrier_hz is None or rate_hz is None:
            return
        a_period, allowed = rate_hz / mode.carrier_hz, self.most_missed
        if (missed := missed_peak(a_period)) >= allowed:
            yield (
                "crest_factor",
                f"{a_period:.3g} samples a period of {mode.name}'s {mode.carrier_hz / 1e3:g} kHz "
                f"may miss {_percent(missed)} of a peak, and the tolerance is "
                f"{100 * allowed:.3g} %; that takes {samples_needed(allowed):.3g} samples a period",
            )

    @property
    def most_missed(self) -> float:
        """The largest share of a peak that may be missed: the narrower side of the tolerance."""
        (point,) = self.points()
        return point.target.half_width / point.target.value

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


def _activation(
    work: StepRun, step: CrestFactorStep, point: Point
) -> UndoubtedMeasurement[CapturedWaveforms]:
    session, age_s = work.session, work.timing.age_s
    mode = session.bench.generator.data.mode(step.mode)
    least_ma = least_output_ma(session, expected_ma(mode, step.setting_w, step.load_ohm))

    def doubt(seen: CapturedWaveforms) -> Doubt | None:
        return doubt_in(seen.samples, least_ma, seen.excess, seen.measured(age_s), point.target)

    return UndoubtedMeasurement(
        session,
        OutputSetting(step.mode, step.setting_w),
        step.load_ohm,
        work.timing.max_on_s,
        lambda: _capture(session, step, point, work.timing),
        doubt,
        lambda seen: seen.excess or _deviation_text(seen.measured(age_s), point),
    )


def _deviation_text(measured: Measured | None, point: Point) -> str:
    value = 0.0 if measured is None else measured.value
    return f"A crest factor of {value:.3g} was measured where {point.target.value:g} was asked for"


async def _capture(
    session: Session, step: CrestFactorStep, point: Point, timing: Timing
) -> CapturedWaveforms:
    tolerance = point.target.half_width / point.target.value
    session.target_band = None
    await rest(session, timing, power_w=step.setting_w, tolerance=tolerance)
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
                digit_ma=bench.analyzer.digit_ma,
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
        return CapturedWaveforms(0, (), on_s, tuple(taken), excess.happened.rstrip("."))
    return _captured(bench, step.mode, captures, on_s, tuple(taken))


def _captured(
    bench: Bench,
    mode_name: str,
    captures: Sequence[WaveformCapture],
    on_s: float,
    samples: tuple[Sample, ...],
) -> CapturedWaveforms:
    digitiser, mode = bench.analyzer.data.digitiser, bench.generator.data.mode(mode_name)
    differing = {captured.counts.tobytes(): captured for captured in captures}
    return CapturedWaveforms(
        captures=len(captures),
        shapes=tuple(waveform_shape(one, digitiser.bits) for one in differing.values()),
        on_s=on_s,
        samples=samples,
        limits=capture_limits(
            digitiser,
            None if mode is None else mode.carrier_hz,
            max((one.interval_s for one in captures), default=0.0),
        ),
    )


def _result(
    work: StepRun,
    step: CrestFactorStep,
    point: Point,
    activation: UndoubtedMeasurement[CapturedWaveforms],
) -> Result:
    seen, verdict_instead = activation.latest, activation.verdict_instead
    measured = seen.measured(work.timing.age_s) if verdict_instead is None else None
    no_value: VerdictAndReason = "not measured", seen.why_no_value
    verdict = verdict_instead or no_value
    if measured is not None:
        verdict = _verdict(measured, step, point, seen.limits)
    return Result(
        stage=work.stage,
        step=step.name,
        point=point.name,
        kind=step.kind,
        verdict=verdict[0],
        reason=activation.with_notes(verdict[1]),
        load_ohm=step.load_ohm,
        traceability="not covered",  # how the analyzer answers peaks no certificate states
        target=point.target,
        measured=measured,
        conformity=conformity(measured, point.target, point.decision),
        on_s=seen.on_s,
        samples=seen.samples,
    )


def _verdict(
    measured: Measured, step: CrestFactorStep, point: Point, limits: CaptureLimits
) -> VerdictAndReason:
    """Return the verdict; undecided where samples may miss more of a peak than is allowed."""
    if limits.sampling is not None and limits.sampling >= step.most_missed:
        missed = _percent(limits.sampling)
        return "undecided", f"the samples are so far apart that {missed} of a peak may be missed"
    return judge(measured, point.target, point.decision)


def _percent(missed: float) -> str:
    """Return the share of a peak that is missed, over what is seen of it, in words."""
    return "all" if missed == inf else f"{100 * missed:.2g} %"
