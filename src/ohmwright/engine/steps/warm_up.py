"""The step kind `warm_up`: RF flows into a load until the unit is warm, before it is measured."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Mapping
from typing import Annotated, ClassVar, Literal

from pydantic import Field, model_validator

from ohmwright.engine.doubt import Doubt, OutputSetting, VerdictAndReason
from ohmwright.engine.judge import conformity, judge
from ohmwright.engine.meter_window import stated_window_s
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    current_within_range,
    expected_ma,
    lasting_share,
    load_available,
    setting_within_mode,
    time_within_limits,
)
from ohmwright.engine.rested_activation import ActivationReadings, rest_and_measure
from ohmwright.engine.undoubted import UndoubtedMeasurement, doubt_in, least_output_ma
from ohmwright.engine.warming import ACTIVATIONS_OF_DRIFT, FullLength, Warming
from ohmwright.estimation.duty import MEAN_OVER_S
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.event import Event
from ohmwright.model.hardware import Positive
from ohmwright.model.result import Measured, Result
from ohmwright.model.step import Timing
from ohmwright.model.tolerance import Target, at_most

from .base import ModeStep, StatedCondition, StepRun

_POINT = "warm-up"
_SHORTFALL_S = 0.1
"""So much may lack of `on_time_s`: an activation ends at a reading, not at a time."""


class WarmUpStep(ModeStep):
    """RF into a load for a stated time, or until the output is known to drift no more.

    Each activation lasts until just under `max_on_s` and is rested before like any other. The drift
    is that of the output at the age `age_s`, from one of the latest activations to the next.
    """

    wears_off: ClassVar[bool] = True
    activates_for_each_result: ClassVar[bool] = False
    kind: Literal["warm_up"]
    setting_w: Positive
    load_ohm: Positive
    on_time_s: Positive | None = None
    """The time with RF on that warms the unit, all activations together."""
    tolerance_percent: Positive | None = None
    """Instead of `on_time_s`: the tolerance of what is measured next."""
    drift_share: Annotated[float, Field(gt=0, le=0.5)] = 0.2
    """The drift must be under this part of `tolerance_percent`; common practice, no source."""
    longest_s: Positive = 900.0
    """Longest time that warming up may take, rests included."""

    @model_validator(mode="after")
    def _one_end(self) -> WarmUpStep:
        if (self.on_time_s is None) == (self.tolerance_percent is None):
            raise ValueError("give exactly one of on_time_s and tolerance_percent")
        if self.on_time_s is not None and self.on_time_s > self.longest_s:
            raise ValueError(f"on_time_s is more than longest_s ({self.longest_s:g} s)")
        self.refuse_two_limit_rule()
        return self

    @property
    def drift_limit(self) -> Target | None:
        """The most that the output may drift, in percent from one activation to the next."""
        percent = self.tolerance_percent
        return None if percent is None else at_most("drift_percent", percent * self.drift_share)

    def point_names(self) -> tuple[str, ...]:
        """Return the name of the one result."""
        return (_POINT,)

    def stated_conditions(self) -> Mapping[str, StatedCondition]:
        """Return mode, setting and load, which are those of all its activations."""
        return {_POINT: StatedCondition(self.mode, self.setting_w, self.load_ohm)}

    @classmethod
    def is_covered_by(cls, certificate: AnalyzerCertificate) -> bool:  # noqa: ARG003
        """Return whether an analyzer certificate may say something of what it measures."""
        return False

    def without_effect(self) -> frozenset[str]:
        """Return the share where a time is to warm the unit."""
        return frozenset() if self.on_time_s is None else frozenset({"drift_share"})

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where setting, load or range is out of the bench's, or the time too short."""
        yield from setting_within_mode(self.mode, self.setting_w, bench)
        yield from time_within_limits(timing.max_on_s, bench)
        yield from load_available(self.load_ohm, bench, key="load_ohm")
        yield from current_within_range(self.mode, self.setting_w, self.load_ohm, bench)
        least_s = self._least_s(bench, timing)
        if least_s > self.longest_s:
            yield "longest_s", f"warming up takes {least_s:.0f} s or more, with its rests"

    def _least_s(self, bench: Abilities, timing: Timing) -> float:
        """Return a time that warming up takes at least, with the rests that the duty asks for.

        Of cold instruments the running mean of the power has yet to rise: what they bear beyond
        their duty meanwhile shortens the rests by its time constant.
        """
        if self.on_time_s is None:
            return ACTIVATIONS_OF_DRIFT * timing.max_on_s
        current_ma = expected_ma(bench.generator.mode(self.mode), self.setting_w, self.load_ohm)
        power_w = (current_ma / 1000) ** 2 * self.load_ohm
        rested_s = self.on_time_s / lasting_share(power_w, bench) - MEAN_OVER_S
        return max(self.on_time_s, rested_s)

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Activate until the unit is warm or the longest time is over; yield the events."""
        session, chosen = work.session, OutputSetting(self.mode, self.setting_w)
        clock, warming = session.bench.clock, Warming(work.timing.age_s)
        await session.input.join("OUTPUT")
        await session.bench.generator.select(*chosen)
        begun_s = clock.now_s()
        verdict: VerdictAndReason | None = None
        while verdict is None:
            done = _warming_activation(work, self, chosen, warming)
            async for event in done.events():
                yield event
            warming.add(done.latest)
            verdict = done.verdict_instead or self._verdict(warming, clock.now_s() - begun_s)
        drift = None if done.verdict_instead is not None else warming.drift()
        result = _result(work, self, warming, drift, done.latest)
        verdict_and_reason = {"verdict": verdict[0], "reason": done.with_notes(verdict[1])}
        yield session.point_done(result.model_copy(update=verdict_and_reason), "OUTPUT", *chosen)

    def _verdict(self, warming: Warming, took_s: float) -> VerdictAndReason | None:
        """Return verdict and reason once the unit is warm or the time is over; else None."""
        spent = f"{warming.on_s:.0f} s with RF on in {took_s / 60:.0f} min"
        drift, limit = warming.drift(), self.drift_limit
        if self.on_time_s is not None and warming.on_s > self.on_time_s - _SHORTFALL_S:
            return "pass", spent
        judged = None if limit is None or drift is None else judge(drift, limit, self.rule)[0]
        if judged == "pass":
            return "pass", spent
        if took_s < self.longest_s:
            return None
        if limit is None:
            return "undecided", f"only {spent}, and longest_s is over"
        if judged == "fail":
            return "undecided", f"still drifting after {spent}"
        return "undecided", f"not known whether it drifts after {spent}: its readings scatter"


def _warming_activation(
    work: StepRun, step: WarmUpStep, chosen: OutputSetting, warming: Warming
) -> UndoubtedMeasurement[ActivationReadings]:
    """Return a measurement of one activation: of full length, or of what is left of `on_time_s`.

    No target, so no band is shown: the output is watched, not judged.
    """
    session, timing = work.session, work.timing
    mode, meter = session.bench.generator.data.mode(step.mode), session.bench.analyzer.data.meter
    least_ma = least_output_ma(session, expected_ma(mode, step.setting_w, step.load_ohm))

    async def measure() -> ActivationReadings:
        session.target_band = None
        return await rest_and_measure(
            session,
            load_ohm=step.load_ohm,
            power_w=step.setting_w,
            timing=timing,
            fetch=session.bench.analyzer.fetch_current,
            stop_rule=lambda warmth: FullLength(
                timing.age_s,
                stated_window_s(meter),
                meter.resolution_ma,
                warmth,
                on_s=None if step.on_time_s is None else step.on_time_s - warming.on_s,
            ),
        )

    def doubt(seen: ActivationReadings) -> Doubt | None:
        return doubt_in(seen.samples, least_ma, seen.excess)

    return UndoubtedMeasurement(
        session, chosen, step.load_ohm, timing.max_on_s, measure, doubt, lambda seen: seen.excess
    )


def _result(
    work: StepRun,
    step: WarmUpStep,
    warming: Warming,
    drift: Measured | None,
    latest: ActivationReadings,
) -> Result:
    return Result(
        stage=work.stage,
        step=step.name,
        point=_POINT,
        kind=step.kind,
        verdict="not measured",
        load_ohm=step.load_ohm,
        target=step.drift_limit,
        measured=drift,
        conformity=conformity(drift, step.drift_limit, step.rule),
        traceability="no scale",
        on_s=warming.on_s,
        samples=latest.samples,
    )
