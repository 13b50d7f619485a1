"""A rested activation, watched until its value at the stated age has settled and is decided."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass

import numpy as np

from ohmwright.instruments.analyzer import Analyzer, Reading
from ohmwright.metrology.settling import Settled, assess
from ohmwright.model.errors import ActivationCutShort
from ohmwright.model.hardware import Meter
from ohmwright.model.procedure import Timing
from ohmwright.model.result import Sample

from .sampling import samples
from .session import Session

Fetch = Callable[[], Awaitable[Reading]]
_LOOK_EVERY_S = 0.5
_LAST_LOOK_BEFORE_LIMIT_S = 0.5


@dataclass(frozen=True)
class Watched:
    """What one activation showed; `settled` is None when it did not reach the age."""

    settled: Settled | None
    on_s: float
    samples: tuple[Sample, ...]


def at_once(_: Settled) -> bool:
    """Any settled value will do."""
    return True


async def watch(
    session: Session,
    *,
    load_ohm: float,
    power_w: float,
    timing: Timing,
    fetch: Fetch,
    decided: Callable[[Settled], bool] = at_once,
) -> Watched:
    """Rest, activate, and sample until a settled value is `decided`.

    The activation ends at once then, never before the age `timing.age_s` at which the value
    is to hold, and at the latest just under `timing.max_on_s`.
    """
    await session.rest(timing.rest_s)
    meter = session.bench.analyzer.data.meter
    taken: list[Sample] = []
    settled: Settled | None = None
    look_at_s = timing.age_s
    async with session.activation(
        load_ohm=load_ohm, power_w=power_w, limit_s=timing.max_on_s
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
                settled = _assess(taken, timing, meter)
                if settled.settled and decided(settled):
                    break
        on_s = opened.age_s
        await refuse_cut_short(session.bench.analyzer, on_s)
    return Watched(settled, on_s, tuple(taken))


async def refuse_cut_short(analyzer: Analyzer, on_s: float) -> None:
    """Readings count only if RF was on to the last: a trip or a limit may have ended it."""
    if not await analyzer.output_on():
        raise ActivationCutShort(
            f"RF was off already when the activation was {on_s:.1f} s old.",
            "The analyzer tripped or ended it by itself; no value was taken from it.",
            "Let the load cool, check the analyzer's messages, then resume the run.",
        )


def _assess(taken: list[Sample], timing: Timing, meter: Meter) -> Settled:
    age_s, current_ma = np.array(taken).T
    return assess(
        age_s,
        current_ma,
        at_age_s=timing.age_s,
        window_s=meter.window_s,
        resolution=meter.resolution_ma,
    )
