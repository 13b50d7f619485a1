"""One point: its value at the stated age, held against its target."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from math import isinf

from ohmwright.engine.steps import Step
from ohmwright.estimation.settled_value import Settled
from ohmwright.model.result import Conformity, Measured, Result, Sample, Verdict
from ohmwright.model.step import Point, Stage, Timing

from .doubt import AsTold
from .judge import conformity, is_final, judge
from .measured_value import Accuracy, linear_measured_value, measured_value
from .rested_activation import Fetch, rest_and_measure
from .session import Session
from .stop_rules import UntilDecided, aim_of, question


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
