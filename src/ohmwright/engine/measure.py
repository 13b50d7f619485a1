"""One point: a rested activation, watched until its value at the stated age is decided."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass, replace

import numpy as np

from ohmwright.instruments.analyzer import Reading
from ohmwright.metrology.settling import Settled, assess
from ohmwright.model.hardware import Meter
from ohmwright.model.procedure import Point, Stage, Step, Timing
from ohmwright.model.result import Measured, Result, Sample, Verdict
from ohmwright.model.tolerance import Target

from .judge import judge
from .sampling import samples
from .session import Session

Fetch = Callable[[], Awaitable[Reading]]
_LOOK_EVERY_S = 0.5
_LAST_LOOK_BEFORE_LIMIT_S = 0.5


@dataclass(frozen=True)
class Observation:
    """What one activation showed."""

    verdict: Verdict
    reason: str
    measured: Measured | None
    on_s: float = 0.0
    samples: tuple[Sample, ...] = ()

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
    """Rest, activate, and sample until the value at `timing.age_s` is decided.

    `power_w` is the most the output can put into the load. Sampling ends as soon as a verdict
    stands after that age, and at the latest just under `timing.max_on_s`; what is not decided
    by then is undecided.
    """
    await session.rest(timing.rest_s)
    meter = session.bench.analyzer.data.meter
    taken: list[Sample] = []
    seen = Observation("not measured", "no reading at the age asked for", None)
    look_at_s = timing.age_s
    async with session.activation(
        load_ohm=point.load_ohm, power_w=power_w, limit_s=timing.max_on_s
    ) as opened:
        async for sample in samples(
            opened,
            fetch,
            session.bench.clock,
            interval_s=1 / meter.readings_per_s,
            until_s=timing.max_on_s - _LAST_LOOK_BEFORE_LIMIT_S,
        ):
            taken.append(sample)
            session.on_sample(sample)
            if sample.age_s >= look_at_s:
                look_at_s = sample.age_s + _LOOK_EVERY_S
                seen = _look(taken, point, timing, meter)
                if seen.verdict != "undecided":
                    break
        on_s = opened.age_s
    return replace(seen, on_s=on_s, samples=tuple(taken))


def _look(taken: list[Sample], point: Point, timing: Timing, meter: Meter) -> Observation:
    age_s, current_ma = np.array(taken).T
    settled = assess(
        age_s,
        current_ma,
        at_age_s=timing.age_s,
        window_s=meter.window_s,
        resolution=meter.resolution_ma,
    )
    measured = _as_target(settled, point.target, point.load_ohm, timing.age_s)
    if not settled.settled:
        return Observation("undecided", settled.reason, measured)
    return Observation(*judge(measured, point.target), measured)


def _as_target(settled: Settled, target: Target, load_ohm: float, age_s: float) -> Measured:
    """The settled current in the target's quantity: P = I² R, u(P) = 2 I R u(I)."""
    value, uncertainty = settled.value, settled.uncertainty
    if target.quantity == "power_w":
        amps = value / 1000
        value, uncertainty = amps**2 * load_ohm, 2 * amps * load_ohm * uncertainty / 1000
    return Measured(value=value, uncertainty=uncertainty, dof=settled.dof, age_s=age_s)
