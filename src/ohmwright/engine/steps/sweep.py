"""The step kind `sweep`: the output at each setting into each load resistance, without limits."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator, Mapping
from math import isinf
from typing import ClassVar, Literal

from ohmwright.engine.activation_events import activation_closed
from ohmwright.engine.doubt import Doubt, OutputSetting
from ohmwright.engine.measured_value import beyond_certificate, measured_value
from ohmwright.engine.requirements import (
    Abilities,
    Complaint,
    current_within_range,
    load_available,
    setting_within_mode,
    time_within_limits,
)
from ohmwright.engine.rested_activation import ActivationReadings, measure_settled_output
from ohmwright.engine.sweep_points import FaultChoice, SweepPoint, SweepPoints
from ohmwright.engine.traceability import accuracy_at
from ohmwright.engine.unasked_rf import ensure_off_after
from ohmwright.engine.undoubted import UndoubtedMeasurement, doubt_in
from ohmwright.instruments.operator import GoBack, SkipStep
from ohmwright.instruments.required_messages import MODES
from ohmwright.model.errors import (
    ActivationCutShort,
    ActivationVoid,
    InstrumentRefused,
    LinkTimeout,
    OhmwrightError,
    ProtocolError,
)
from ohmwright.model.event import ActivationClosed, ActivationOpened, Event, PointDone
from ohmwright.model.result import Measured, Result, SweepValue, Verdict
from ohmwright.model.step import Timing

from .base import StatedCondition, StepRun, TimedStep, ValueRule

NO_LIMITS = "a sweep has no limits"
"""Why a settled value is undecided."""
PASSING_FAULTS = (
    ActivationCutShort,
    ActivationVoid,
    InstrumentRefused,
    LinkTimeout,
    ProtocolError,
)
"""Faults after which the line may answer again, and RF can be read as off."""
_FAULTS_IN_A_ROW = 3
"""So many failing points, one after another, end a sweep that was to go on: the cause lasts."""
_Activation = UndoubtedMeasurement[ActivationReadings]


class SweepStep(TimedStep, SweepPoints):
    """Power and current at every setting into every load, for a curve.

    What was measured is "undecided", since a value without limits neither passes nor fails.
    """

    generator_messages: ClassVar = MODES
    has_output_budget: ClassVar[bool] = True
    chooses_on_fault: ClassVar[bool] = True
    value_rule: ClassVar[ValueRule | None] = "settled"
    kind: Literal["sweep"]

    def point_names(self) -> tuple[str, ...]:
        """Return the names of all points, in the order in which they are measured."""
        return tuple(point.name() for point in self.points())

    def stated_conditions(self) -> Mapping[str, StatedCondition]:
        """Return mode, setting and load of each point."""
        return {
            point.name(): StatedCondition(point.mode, point.setting_w, point.load_ohm)
            for point in self.points()
        }

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where a mode, setting, load or time is out of what the bench can do."""
        yield from time_within_limits(timing.max_on_s, bench)
        for load_ohm in self.loads_ohm:
            yield from load_available(load_ohm, bench, key="loads_ohm")
        for mode, settings_w in self.modes.items():
            for setting_w in settings_w:
                found = [
                    what
                    for _, what in (
                        *setting_within_mode(mode, setting_w, bench),
                        *self._beyond_range(mode, setting_w, bench),
                    )
                ]
                yield from (("modes", what) for what in found)

    def _beyond_range(self, mode: str, setting_w: float, bench: Abilities) -> Iterator[Complaint]:
        for load_ohm in self.loads_ohm:
            for key, what in current_within_range(mode, setting_w, load_ohm, bench):
                yield key, f"into {load_ohm:g} ohm {what}"

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Measure each point that has no result yet; yield the events.

        A setting that a person skips is left out; who goes back is asked again. A fault is raised,
        or noted as the result of its point where `on_fault` says to go on and RF reads off; three
        in a row are raised in any case.
        """
        missing, skipped = set(work.missing), dict[tuple[str, float], str]()
        progress = _Progress(self.on_fault)
        await work.session.input.join("OUTPUT")
        for point in self.points():
            if point.name() not in missing:
                continue
            setting = point.mode, point.setting_w
            work.session.last_on_s = 0.0  # where the setting was skipped, RF never comes on
            while setting not in skipped:
                try:
                    async for event in progress.watched(_point_events(self, point, work)):
                        yield event
                    break
                except GoBack:
                    continue
                except SkipStep as choice:
                    skipped[setting] = choice.reason
                except PASSING_FAULTS as fault:
                    async for event in progress.noted(fault, work):
                        yield event
                    yield _done(work, self, point, "not measured", fault.happened.rstrip("."))
                    break
            else:
                yield _done(work, self, point, "not measured", skipped[setting])


class _Progress:
    """What a sweep knows of its latest activation, and of faults in a row."""

    def __init__(self, on_fault: FaultChoice) -> None:
        self._on_fault, self._in_a_row, self._opened = on_fault, 0, False

    async def watched(self, events: AsyncIterator[Event]) -> AsyncIterator[Event]:
        """Yield the events of one point, and note whether its activation was closed."""
        self._opened = False
        async for event in events:
            if isinstance(event, ActivationOpened | ActivationClosed):
                self._opened = isinstance(event, ActivationOpened)
            yield event
        self._in_a_row = 0

    async def noted(self, fault: OhmwrightError, work: StepRun) -> AsyncIterator[Event]:
        """Yield that an open activation is closed; raise where the sweep is to stop.

        What is raised is `fault`, or a worse one where RF does not read off after it.
        """
        session = work.session
        self._in_a_row += 1
        if self._on_fault == "stop" or self._in_a_row >= _FAULTS_IN_A_ROW:
            raise fault
        ended_by = await ensure_off_after(fault, session.bench, session.pending, session.on_status)
        if ended_by is not fault or session.bench.rf.state != "off":
            raise ended_by
        if self._opened:
            yield activation_closed(session)


async def _point_events(step: SweepStep, point: SweepPoint, work: StepRun) -> AsyncIterator[Event]:
    activation = _activation(point, work)
    await work.session.bench.generator.select(*activation.chosen)
    async for event in activation.events():
        yield event
    yield _result_event(work, step, point, activation)


def _activation(point: SweepPoint, work: StepRun) -> _Activation:
    """Return the measurement of one point, which is repeated where it is in doubt.

    Any current above the meter's zero counts as output: far from the unit's rated load nobody knows
    how much is to flow.
    """
    session, timing = work.session, work.timing
    least_ma = session.bench.rf.zero_limit_ma

    async def measure() -> ActivationReadings:
        session.target_band = None
        return await measure_settled_output(
            session, load_ohm=point.load_ohm, power_w=point.setting_w, timing=timing
        )

    def doubt(seen: ActivationReadings) -> Doubt | None:
        return doubt_in(seen.samples, least_ma, seen.excess)

    chosen = OutputSetting(point.mode, point.setting_w)
    return UndoubtedMeasurement(
        session, chosen, point.load_ohm, timing.max_on_s, measure, doubt, lambda seen: seen.excess
    )


def _result_event(work: StepRun, step: SweepStep, point: SweepPoint, done: _Activation) -> Event:
    """Return the event of a measured point: power and current at the stated age."""
    seen = done.latest
    settled = seen.settled
    if done.verdict_instead is not None:
        return _done(work, step, point, *done.verdict_instead, seen=seen)
    if settled is None or isinf(settled.uncertainty):
        why = "no reading at the age asked for" if settled is None else settled.reason
        return _done(work, step, point, "not measured", why, seen=seen)
    accuracy = accuracy_at(work.session, point.mode, point.load_ohm)
    power, current = (
        measured_value(settled, quantity, point.load_ohm, work.timing, accuracy)
        for quantity in ("power_w", "current_ma")
    )
    uncovered = beyond_certificate(accuracy, settled.value)
    known = "; ".join(filter(None, ("" if settled.settled else settled.reason, uncovered)))
    reason = done.with_notes(known or NO_LIMITS)
    value = SweepValue(repeat=point.repeat, current=current, settled=settled.settled)
    return _done(
        work,
        step,
        point,
        "undecided",
        reason,
        seen=seen,
        measured=power,
        value=value,
        traceability="not covered" if uncovered else None,
    )


def _done(
    work: StepRun,
    step: SweepStep,
    point: SweepPoint,
    verdict: Verdict,
    reason: str,
    *,
    seen: ActivationReadings | None = None,
    measured: Measured | None = None,
    value: SweepValue | None = None,
    traceability: Literal["not covered"] | None = None,
) -> PointDone:
    result = Result(
        stage=work.stage,
        step=step.name,
        point=point.name(),
        kind=step.kind,
        verdict=verdict,
        reason=reason,
        load_ohm=point.load_ohm,
        measured=measured,
        traceability=traceability,
        sweep=SweepValue(repeat=point.repeat) if value is None else value,
        on_s=work.session.last_on_s if seen is None else seen.on_s,
        samples=() if seen is None else seen.samples,
    )
    return work.session.point_done(result, "OUTPUT", point.mode, point.setting_w)
