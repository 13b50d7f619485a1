"""One point: its value at the stated age, held against its target."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.metrology.settling import Settled
from ohmwright.model.procedure import Point, Stage, Step, Timing
from ohmwright.model.result import Measured, Result, Sample, Verdict
from ohmwright.model.tolerance import Target

from .judge import judge
from .session import Session
from .watch import Fetch, watch
from .watchers import Deciding, question


@dataclass(frozen=True)
class Observation:
    """What one activation showed."""

    verdict: Verdict
    reason: str
    measured: Measured | None
    on_s: float
    samples: tuple[Sample, ...]

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
    verdict: tuple[Verdict, str] = ("undecided", "")

    def decided(settled: Settled) -> bool:
        nonlocal verdict
        verdict = judge(_as_target(settled, point.target, point.load_ohm, timing), point.target)
        return verdict[0] != "undecided"

    meter = session.bench.analyzer.data.meter
    asked = question(point, timing, meter)
    seen = await watch(
        session,
        load_ohm=point.load_ohm,
        power_w=power_w,
        timing=timing,
        fetch=fetch,
        watcher=lambda left: Deciding(point, timing, meter, left, decided),
        expected_w=min(power_w, (asked.target / 1000) ** 2 * point.load_ohm),
        tolerance=asked.tolerance / asked.target,
    )
    if seen.settled is None:
        why = "no reading at the age asked for"
        return Observation("not measured", why, None, seen.on_s, seen.samples)
    if not seen.settled.settled:
        verdict = ("undecided", seen.settled.reason)
    measured = _as_target(seen.settled, point.target, point.load_ohm, timing)
    return Observation(*verdict, measured, seen.on_s, seen.samples)


def _as_target(settled: Settled, target: Target, load_ohm: float, timing: Timing) -> Measured:
    """The settled current in the target's quantity: P = I² R, u(P) = 2 I R u(I)."""
    value, uncertainty = settled.value, settled.uncertainty
    if target.quantity == "power_w":
        amps = value / 1000
        value, uncertainty = amps**2 * load_ohm, 2 * amps * load_ohm * uncertainty / 1000
    return Measured(value=value, uncertainty=uncertainty, dof=settled.dof, age_s=timing.age_s)
