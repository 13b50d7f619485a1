"""Test points: the value at the stated age of a rested activation is compared with its target."""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterator
from dataclasses import dataclass, replace
from math import isinf
from typing import ClassVar

from ohmwright.estimation.activation_record import Prospect
from ohmwright.estimation.settled_value import Settled, pooled
from ohmwright.model.errors import LoadNotConnected
from ohmwright.model.event import Event
from ohmwright.model.result import Conformity, Measured, Result, Sample, Verdict
from ohmwright.model.step import Point, Stage, Timing

from .asked_current import asked_current_ma, question, target_band
from .doubt import Doubt, OutputSetting, VerdictAndReason
from .judge import conformity, is_final, judge, stays_too_close, stays_undecided
from .lost_load import reason_to_go_without
from .measured_value import (
    Accuracy,
    beyond_certificate,
    linear_measured_value,
    measured_value,
)
from .requirements import Abilities, Complaint, points_within_range
from .rested_activation import Fetch, rest_and_measure
from .session import Session
from .steps.base import SettingStep, Step, StepRun, ValueRule
from .stop_rules import UntilDecided, dated
from .traceability import accuracy_at
from .undoubted import UndoubtedMeasurement, doubt_in, least_output_ma


@dataclass(frozen=True)
class Observation:
    """The value and verdict of one activation, with its readings; no value where not measured."""

    verdict: Verdict
    reason: str
    measured: Measured | None
    conformity: Conformity | None
    on_s: float
    samples: tuple[Sample, ...]
    excess: str = ""
    """What ended the activation early, where far too much flowed; else empty."""
    settled: Settled | None = None
    """What was settled on in the activation, or the activations pooled."""
    earlier_samples: tuple[Sample, ...] = ()
    """The readings of the activation before, where both are pooled."""
    uncovered: str = ""
    """Why the analyzer's certificate says nothing of the current; empty where it does."""

    def with_verdict(self, other: VerdictAndReason) -> Observation:
        """Return a copy with another verdict and reason, which rest on more than the readings.

        The value is kept where the verdict is a pass, and dropped else. Its probability goes with
        the verdict by the readings: a person's word has none.
        """
        verdict, reason = other
        return replace(
            self,
            verdict=verdict,
            reason=reason,
            measured=self.measured if verdict == "pass" else None,
            conformity=None,
        )

    def with_note(self, note: str) -> Observation:
        """Return a copy whose reason ends with a clause more, where that is not empty."""
        return replace(self, reason="; ".join(filter(None, (self.reason, note))))

    def result(
        self,
        stage: Stage,
        step: Step,
        point: Point,
        *,
        start_trim: int | None = None,
        final_trim: int | None = None,
    ) -> Result:
        """Return the result of `point`; trims in counts for an adjusted point."""
        return Result(
            stage=stage,
            step=step.name,
            point=point.name,
            kind=step.kind,
            verdict=self.verdict,
            reason=self.reason,
            load_ohm=point.load_ohm,
            target=point.target,
            measured=self.measured,
            conformity=self.conformity,
            traceability="not covered" if self.uncovered and self.measured else None,
            on_s=self.on_s,
            start_trim=start_trim,
            final_trim=final_trim,
            samples=self.samples,
            earlier_samples=self.earlier_samples,
        )


async def measure_point(
    session: Session,
    point: Point,
    chosen: OutputSetting,
    timing: Timing,
    fetch: Fetch,
    prospect: Prospect | None = None,
) -> Observation:
    """Rest, activate once, and return the value of `point` with its verdict.

    The activation ends when the verdict is known, or undecided just under `timing.max_on_s`; where
    a `prospect` is given also when more readings of it are in vain.
    `chosen`: mode and setting of the unit; the setting is the most that can be put into the load.
    """
    accuracy = accuracy_at(session, chosen.mode, point.load_ohm)
    bench = session.bench

    def final(settled: Settled) -> bool:
        return is_decided(dated(settled, bench), point, timing, accuracy)

    asked = question(point, timing, bench.analyzer.data.meter)
    session.target_band = target_band(asked)
    seen = await rest_and_measure(
        session,
        load_ohm=point.load_ohm,
        power_w=chosen.setting_w,
        timing=timing,
        fetch=fetch,
        stop_rule=lambda warmth: UntilDecided(asked, warmth, final, prospect=prospect),
        expected_w=min(chosen.setting_w, (asked.target / 1000) ** 2 * point.load_ohm),
        tolerance=asked.tolerance / asked.target,
    )
    if seen.settled is None:
        why = seen.excess or "no reading at the age asked for"
        return Observation("not measured", why, None, None, seen.on_s, seen.samples, seen.excess)
    return observation_of(accuracy, seen.settled, point, timing, seen.on_s, seen.samples)


def is_decided(settled: Settled, point: Point, timing: Timing, accuracy: Accuracy | None) -> bool:
    """Return whether more readings could not change the point's verdict, by the linear budget."""
    quantity, load_ohm = point.target.quantity, point.load_ohm
    measured = linear_measured_value(settled, quantity, load_ohm, timing, accuracy)
    return is_final(measured, point.target, point.decision)


def observation_of(
    accuracy: Accuracy | None,
    settled: Settled,
    point: Point,
    timing: Timing,
    on_s: float,
    samples: tuple[Sample, ...],
) -> Observation:
    """Return the observation of an activation with a value; undecided where it has not settled."""
    if isinf(settled.uncertainty):
        return Observation("not measured", settled.reason, None, None, on_s, samples)
    target, rule = point.target, point.decision
    measured = measured_value(settled, target.quantity, point.load_ohm, timing, accuracy)
    verdict = judge(measured, target, rule)
    if not settled.settled:
        verdict = ("undecided", settled.reason)
    uncovered = beyond_certificate(accuracy, settled.value)
    reason = "; ".join(filter(None, (verdict[1], uncovered)))
    how = conformity(measured, target, rule)
    return Observation(
        verdict[0], reason, measured, how, on_s, samples, settled=settled, uncovered=uncovered
    )


def is_worth_repeating(seen: Observation, point: Point) -> bool:
    """Return whether a second activation may decide what the readings' scatter left undecided."""
    if seen.verdict != "undecided" or seen.measured is None or seen.settled is None:
        return False
    if not seen.settled.settled or stays_too_close(seen.measured, point.target):
        return False
    return not stays_undecided(seen.measured, point.target, point.decision)


class _PooledPoint:
    """One point's measurement, which an undecided verdict repeats once; both values are pooled."""

    def __init__(self, session: Session, point: Point, chosen: OutputSetting, timing: Timing):
        self._session, self._point, self._chosen, self._timing = session, point, chosen, timing
        self._first: Observation | None = None

    async def measure(self) -> Observation:
        """Activate once, and pool what was seen with the activation before, if there was one."""
        session, point, timing, first = self._session, self._point, self._timing, self._first
        fetch = session.bench.analyzer.fetch_current
        # of the second one both together decide, so that it ends only where it decides alone
        prospect = Prospect(timing.max_on_s) if first is None else None
        seen = await measure_point(session, point, self._chosen, timing, fetch, prospect)
        if first is None or first.settled is None or seen.settled is None:
            return seen
        both = pooled(first.settled, seen.settled)
        accuracy, on_s = (
            accuracy_at(session, self._chosen.mode, point.load_ohm),
            first.on_s + seen.on_s,
        )
        observed = observation_of(accuracy, both, point, timing, on_s, seen.samples)
        return replace(observed, earlier_samples=first.samples)

    def again(self, seen: Observation) -> bool:
        """Return whether to activate again, once at most."""
        if self._first is not None or not is_worth_repeating(seen, self._point):
            return False
        self._first = seen
        return True


class OutputPointsStep(SettingStep):
    """Base of the step kinds whose points are test points of the output, measured one by one."""

    has_output_budget: ClassVar[bool] = True
    value_rule: ClassVar[ValueRule | None] = "decided"
    load_key: ClassVar[str] = "load_ohm"
    """The key that gives the load resistances, for complaints about them."""

    def requirements(self, bench: Abilities, timing: Timing) -> Iterator[Complaint]:
        """Complain where mode, setting, time, a load or the range is out of the bench's."""
        yield from super().requirements(bench, timing)
        yield from points_within_range(self.points(), bench, key=self.load_key)

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Measure each point that has no result yet; yield the events."""
        for point in self.points():
            if point.name in work.missing:
                async for event in _point_events(self, point, work):
                    yield event


async def _point_events(step: SettingStep, point: Point, work: StepRun) -> AsyncIterator[Event]:
    """Measure a point; where its load is lost, measure it again or yield that it is not."""
    chosen = OutputSetting(
        step.mode, step.setting_w if point.setting_w is None else point.setting_w
    )
    while True:
        try:
            async for event in _measured_events(step, point, work, chosen):
                yield event
        except LoadNotConnected as lost:
            place = f"Step '{step.name}', point {point.name}"
            reason = await reason_to_go_without(work.session, lost, place)
        else:
            return
        if reason is not None:
            nothing = Observation("not measured", reason, None, None, 0.0, ())
            result = nothing.result(work.stage, step, point)
            yield work.session.point_done(result, "none", *chosen)
            return


async def _measured_events(
    step: SettingStep, point: Point, work: StepRun, chosen: OutputSetting
) -> AsyncIterator[Event]:
    session, timing, bench = work.session, work.timing, work.session.bench
    least_ma = least_output_ma(session, asked_current_ma(point))

    pooling = _PooledPoint(session, point, chosen, timing)

    def doubt(seen: Observation) -> Doubt | None:
        found = doubt_in(seen.samples, least_ma, seen.excess, seen.measured, point.target)
        return found or doubt_of_typed(session, seen)

    await session.input.join("OUTPUT")
    await bench.generator.select(*chosen)
    measured = UndoubtedMeasurement(
        session,
        chosen,
        point.load_ohm,
        timing.max_on_s,
        pooling.measure,
        doubt,
        lambda seen: _deviation_text(seen, point),
        again=pooling.again,
    )
    async for event in measured.events():
        yield event
    result = final_observation(measured).result(work.stage, step, point)
    yield session.point_done(result, "OUTPUT", *chosen)


def doubt_of_typed(session: Session, seen: Observation) -> Doubt | None:
    """Return "no value" where a person read the meter by eye, and what they typed gave none."""
    typed = session.bench.analyzer.read_by_eye
    return "no value" if typed and seen.measured is None and not seen.excess else None


def final_observation(measured: UndoubtedMeasurement[Observation]) -> Observation:
    """Return the last observation, its verdict and reason completed by how doubts were resolved."""
    if measured.verdict_instead is not None:
        return measured.latest.with_verdict(measured.verdict_instead)
    return replace(measured.latest, reason=measured.with_notes(measured.latest.reason))


def _deviation_text(seen: Observation, point: Point) -> str:
    """Return a sentence for a person that holds what was measured beside the target."""
    if seen.measured is None:
        return seen.excess or seen.reason
    target = point.target
    return (
        f"{seen.measured.value:.4g} {target.unit} was measured where {target.value:g} "
        f"{target.unit} was expected"
    )
