"""Test points: the value at the stated age of a rested activation, held against its target."""

from __future__ import annotations

from collections.abc import AsyncIterator
from dataclasses import dataclass, replace
from functools import partial
from math import isinf

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.event import Event
from ohmwright.model.result import Conformity, Measured, Result, Sample, Verdict
from ohmwright.model.step import Point, Stage, Timing

from .doubt import AsTold, Chosen, Doubt, doubt_in, least_output_ma
from .judge import conformity, is_final, judge
from .measured_value import Accuracy, linear_measured_value, measured_value
from .rested_activation import Fetch, rest_and_measure
from .session import Session
from .steps.base import SettingStep, Step, StepRun
from .stop_rules import UntilDecided, aim_of, asked_current_ma, question
from .undoubted import Undoubted


@dataclass(frozen=True)
class Observation:
    """What one activation showed."""

    verdict: Verdict
    reason: str
    measured: Measured | None
    conformity: Conformity | None
    on_s: float
    samples: tuple[Sample, ...]
    excess: str = ""
    """What ended the activation early, where too much flowed."""

    def as_told(self, as_told: AsTold) -> Observation:
        """The same activation with a verdict and a reason that rest on more than its readings.

        Its value is kept only where it passes.
        """
        verdict, reason = as_told
        kept = verdict == "pass"
        return replace(
            self,
            verdict=verdict,
            reason=reason,
            measured=self.measured if kept else None,
            conformity=self.conformity if kept else None,
        )

    def noted(self, note: str) -> Observation:
        """With `note` added to its reason."""
        return replace(self, reason="; ".join(part for part in (self.reason, note) if part))

    def result(
        self,
        stage: Stage,
        step: Step,
        point: Point,
        *,
        start_trim: int | None = None,
        final_trim: int | None = None,
    ) -> Result:
        """The observation as the result of `point`."""
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
            on_s=self.on_s,
            start_trim=start_trim,
            final_trim=final_trim,
            samples=self.samples,
        )


async def observe(
    session: Session, point: Point, *, power_w: float, timing: Timing, fetch: Fetch
) -> Observation:
    """Watch `point` until its target can be judged; what is not by the end is undecided.

    `power_w` is the most the output can put into the load.
    """
    final = partial(settles, point=point, timing=timing, accuracy=session.accuracy)
    asked = question(point, timing, session.bench.analyzer.data.meter)
    session.aim = aim_of(asked)
    seen = await rest_and_measure(
        session,
        load_ohm=point.load_ohm,
        power_w=power_w,
        timing=timing,
        fetch=fetch,
        stop_rule=lambda warmth: UntilDecided(asked, warmth, final),
        expected_w=min(power_w, (asked.target / 1000) ** 2 * point.load_ohm),
        tolerance=asked.tolerance / asked.target,
    )
    if seen.settled is None:
        why = seen.excess or "no reading at the age asked for"
        return Observation("not measured", why, None, None, seen.on_s, seen.samples, seen.excess)
    return observed(session.accuracy, seen.settled, point, timing, seen.on_s, seen.samples)


def settles(settled: Settled, point: Point, timing: Timing, accuracy: Accuracy | None) -> bool:
    """Whether the point's decision rule has its final say on a value, by the linear budget."""
    quantity, load_ohm = point.target.quantity, point.load_ohm
    measured = linear_measured_value(settled, quantity, load_ohm, timing, accuracy)
    return is_final(measured, point.target, point.decision)


def observed(
    accuracy: Accuracy | None,
    settled: Settled,
    point: Point,
    timing: Timing,
    on_s: float,
    samples: tuple[Sample, ...],
) -> Observation:
    """What an activation showed that ended with a value, settled or not."""
    if isinf(settled.uncertainty):
        return Observation("not measured", settled.reason, None, None, on_s, samples)
    target, rule = point.target, point.decision
    measured = measured_value(settled, target.quantity, point.load_ohm, timing, accuracy)
    verdict = judge(measured, target, rule)
    if not settled.settled:
        verdict = ("undecided", settled.reason)
    how = conformity(measured, target, rule)
    return Observation(*verdict, measured, how, on_s, samples)


async def output_points(step: SettingStep, work: StepRun) -> AsyncIterator[Event]:
    """The events of each point of `step` that has no result yet."""
    for point in step.points():
        if point.name in work.missing:
            async for event in _measured_point(step, point, work):
                yield event


async def _measured_point(step: SettingStep, point: Point, work: StepRun) -> AsyncIterator[Event]:
    session, timing, bench = work.session, work.timing, work.session.bench
    chosen = Chosen(step.mode, step.setting_w if point.setting_w is None else point.setting_w)
    least_ma = least_output_ma(session, asked_current_ma(point))

    async def measure() -> Observation:
        return await observe(
            session,
            point,
            power_w=chosen.setting_w,
            timing=timing,
            fetch=bench.analyzer.fetch_current,
        )

    def doubt(seen: Observation) -> Doubt | None:
        return doubt_in(seen.samples, least_ma, seen.excess, seen.measured, point.target)

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
