"""The control of the output: more setting, never less output."""

from __future__ import annotations

from collections.abc import AsyncIterator, Sequence
from itertools import pairwise
from math import hypot, isinf

from ohmwright.model.event import Event
from ohmwright.model.procedure import MonotonicityStep, Stage, Timing
from ohmwright.model.result import Measured, Result, Verdict

from .doubt import AsTold, Chosen, DoubtResolver, doubt_in
from .judge import conformity, judge, scatter
from .leakage import expected_ma
from .measured_value import measured_value
from .rested_activation import ActivationReadings, rest_and_measure
from .reversals import reversals
from .session import Session
from .stop_rules import UntilSettled

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
    """Measure each setting that has no result yet, from the lowest up.

    A setting at which nothing flows is not measured: no output at all turns down nicely, too.
    """
    have = {result.point: result.measured for result in earlier}
    below: list[Level] = []
    await session.join_path("OUTPUT")
    for name, setting_w in step.levels():
        measured = have.get(name)
        if name not in have:
            level = _Level(session, step, setting_w, timing)
            async for event in level.events():
                yield event
            measured = level.measured
            result = _result(stage, step, name, level, below)
            yield session.point_done(result, "OUTPUT", step.mode, setting_w)
        if measured is not None:
            below.append((setting_w, measured))


class _Level:
    """One setting: measured, and measured once more where it is in doubt."""

    def __init__(
        self, session: Session, step: MonotonicityStep, setting_w: float, timing: Timing
    ) -> None:
        self._session, self._step, self.setting_w, self._timing = session, step, setting_w, timing
        self.seen = ActivationReadings(None, 0.0, ())
        self.measured: Measured | None = None
        self.told: AsTold | None = None

    async def events(self) -> AsyncIterator[Event]:
        """The activations; `seen`, `measured` and `told` hold what came of them."""
        session, step, timing, bench = self._session, self._step, self._timing, self._session.bench
        chosen = Chosen(step.mode, self.setting_w)
        clearing = DoubtResolver.of(session, chosen)
        asked_ma = expected_ma(bench.generator.data.mode(step.mode), self.setting_w, step.load_ohm)
        await bench.generator.select(*chosen)
        while True:
            yield session.activation_opened(
                load_ohm=step.load_ohm, limit_s=timing.max_on_s, setting_w=self.setting_w
            )
            session.aim = None
            self.seen = await rest_and_measure(
                session,
                load_ohm=step.load_ohm,
                power_w=self.setting_w,
                timing=timing,
                fetch=bench.analyzer.fetch_current,
                stop_rule=lambda left: UntilSettled(timing, bench.analyzer.data.meter, left),
                tolerance=_closest(step),
            )
            yield session.activation_closed()
            self.measured = _power(session, step, self.seen, timing)
            doubt = doubt_in(session, self.seen.samples, asked_ma, self.seen.excess)
            if doubt is None or clearing.stands(doubt):
                return
            self.told = await clearing.resolve(doubt, self.seen.excess)
            if self.told is not None:
                self.measured = None
                return


def _closest(step: MonotonicityStep) -> float:
    """How near two neighbouring settings are, relative: what the warmth left over must not hide."""
    apart = (high / low - 1 for low, high in pairwise(step.settings_w))
    return min(_CLOSE, *apart)


def _power(
    session: Session, step: MonotonicityStep, seen: ActivationReadings, timing: Timing
) -> Measured | None:
    settled = seen.settled
    if settled is None or isinf(settled.uncertainty):
        return None
    return measured_value(settled, "power_w", step.load_ohm, timing, session.accuracy)


def _result(
    stage: Stage,
    step: MonotonicityStep,
    name: str,
    level: _Level,
    below: Sequence[Level],
) -> Result:
    seen, measured, setting_w = level.seen, level.measured, level.setting_w
    target = step.lowest if setting_w == step.settings_w[0] else None
    verdict: tuple[Verdict, str] = level.told or ("not measured", "no reading at the age asked for")
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
