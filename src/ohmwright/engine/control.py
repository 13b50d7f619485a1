"""The control of the output: more setting, never less output."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from itertools import pairwise
from math import hypot, isinf

from ohmwright.metrology.limits import reversals
from ohmwright.model.event import ActivationClosed, ActivationOpened, Event, PointDone
from ohmwright.model.procedure import MonotonicityStep, Stage, Timing
from ohmwright.model.result import Measured, Result, Verdict

from .appraisal import appraise
from .judge import conformity, judge, scatter
from .session import Session
from .watch import Watched, watch
from .watchers import Settling

_CLOSE = 0.05
"""Settings farther apart than this are told apart with ease, relative."""

Level = tuple[float, Measured]
"""A setting in W and the power measured there."""


async def monotonicity(
    session: Session,
    stage: Stage,
    step: MonotonicityStep,
    timing: Timing,
    earlier: Sequence[Result],
) -> AsyncIterator[Event]:
    """Measure each setting that has no result yet, from the lowest up."""
    bench = session.bench
    have = {result.point: result.measured for result in earlier}
    below: list[Level] = []
    await bench.analyzer.set_path("OUTPUT")
    for name, setting_w in step.levels():
        measured = have.get(name)
        if name not in have:
            await bench.generator.select(step.mode, setting_w)
            yield ActivationOpened(
                **session.stamp(), load_ohm=step.load_ohm, limit_s=timing.max_on_s
            )
            seen = await watch(
                session,
                load_ohm=step.load_ohm,
                power_w=setting_w,
                timing=timing,
                fetch=bench.analyzer.fetch_current,
                watcher=lambda left: Settling(timing, bench.analyzer.data.meter, left),
                tolerance=_closest(step),
            )
            yield ActivationClosed(**session.stamp(), on_s=seen.on_s)
            measured = _power(session, step, seen, timing)
            result = _result(stage, step, name, setting_w, seen, measured, below)
            yield PointDone(**session.stamp(), result=result)
        if measured is not None:
            below.append((setting_w, measured))


def _closest(step: MonotonicityStep) -> float:
    """How near two neighbouring settings are, relative: what the warmth left over must not hide."""
    apart = (high / low - 1 for low, high in pairwise(step.settings_w))
    return min(_CLOSE, *apart)


def _power(
    session: Session, step: MonotonicityStep, seen: Watched, timing: Timing
) -> Measured | None:
    settled = seen.settled
    if settled is None or isinf(settled.uncertainty):
        return None
    return appraise(settled, "power_w", step.load_ohm, timing, session.accuracy)


def _result(
    stage: Stage,
    step: MonotonicityStep,
    name: str,
    setting_w: float,
    seen: Watched,
    measured: Measured | None,
    below: Sequence[Level],
) -> Result:
    target = step.lowest if setting_w == step.settings_w[0] else None
    verdict: tuple[Verdict, str] = "not measured", "no reading at the age asked for"
    if measured is not None:
        verdict = _against_lower(step, setting_w, measured, below)
        if target is not None:
            verdict = judge(measured, target, step.rule)
        if seen.settled is not None and not seen.settled.settled:
            verdict = "undecided", seen.settled.reason
    return Result(
        stage=stage,
        step=step.name,
        point=name,
        kind=step.kind,
        verdict=verdict[0],
        reason=verdict[1],
        load_ohm=step.load_ohm,
        target=target,
        measured=measured,
        conformity=conformity(measured, target, step.rule),
        on_s=seen.on_s,
        samples=seen.samples,
    )


def _against_lower(
    step: MonotonicityStep, setting_w: float, measured: Measured, below: Sequence[Level]
) -> tuple[Verdict, str]:
    """Whether this setting gives less than a lower one, beyond what the readings' scatter explains.

    Meter and load are the same at every setting, so their errors do not count.
    """
    settings = [*(setting for setting, _ in below), setting_w]
    outputs = [*(level.value for _, level in below), measured.value]
    reach_w = max((hypot(scatter(measured), scatter(level)) for _, level in below), default=0.0)
    surely = reversals(settings, outputs, step.allowance_w + reach_w)
    perhaps = reversals(settings, outputs, step.allowance_w - reach_w)
    mine = [one for one in surely if one.setting == setting_w]
    if mine:
        return "fail", f"{mine[0].drop:.1f} W less than at setting {mine[0].lower_setting:g} W"
    if any(one.setting == setting_w for one in perhaps):
        return "undecided", "no more than at a lower setting, as far as the scatter lets see"
    return "pass", ""
