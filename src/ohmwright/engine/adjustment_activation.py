"""One activation of an adjustment: readings go to the policy, its moves to the trim."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.adjustment.actions import Move, Press, TakeReading
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.errors import ExcessiveOutput
from ohmwright.model.result import Sample
from ohmwright.model.step import Point

from .activation import Activation
from .rested_activation import refuse_cut_short
from .sampling import samples
from .session import Session
from .trim_actuator import TrimActuator

_LAST_READING_BEFORE_LIMIT_S = 0.3
_NOTHING_AFTER_S = 6.0
"""An output that is next to nothing for so long does not come any more: no lag is that long."""
_THERE = 0.1
_RISEN = 0.3
_FALLEN, _GONE, _STEADY = 0.85, 0.5, 0.05
"""Parts of the last good reading: it has fallen, it is next to nothing, it stays where it is."""


@dataclass(frozen=True)
class AdjustmentActivation:
    """How long RF was on, and the readings."""

    on_s: float
    samples: tuple[Sample, ...]
    excess: str = ""
    """What ended it, where too much flowed."""
    nothing: bool = False
    """Whether no output came at all; then the policy heard of no reading."""


async def run_adjustment_activation(
    session: Session,
    policy: AdjustPolicy,
    actuator: TrimActuator,
    point: Point,
    *,
    power_w: float,
    limit_s: float,
    left: ResidualWarmth,
) -> AdjustmentActivation:
    """Activate, and do as the policy says until it lets go.

    It hears of a service mode that timed out, and of a limit that ran out while a person was at
    the keys, as a release it has not asked for. An activation that ended otherwise raises
    ActivationCutShort.
    """
    analyzer, before_s = session.bench.analyzer, session.on_s
    output = _Output(point.target.value)
    taken: list[Sample] = []
    try:
        async with session.activation(
            load_ohm=point.load_ohm, power_w=power_w, limit_s=limit_s
        ) as opened:
            policy.activated(left)
            async for sample in samples(
                opened,
                analyzer.fetch_current,
                session.bench.clock,
                interval_s=1 / analyzer.data.meter.readings_per_s,
                until_s=opened.limit_s - _LAST_READING_BEFORE_LIMIT_S,
            ):
                taken.append(sample)
                session.show(sample, opened)
                for good in output.confirmed_readings(sample):
                    policy.read(*good)
                if output.gone or (not output.there and sample.age_s > _NOTHING_AFTER_S):
                    break
                if output.there and not await _act(policy, actuator, opened, sample.current_ma):
                    break
            on_s = min(opened.age_s, opened.limit_s)
            if opened.age_s < opened.limit_s:
                await refuse_cut_short(analyzer, opened)
    except ExcessiveOutput as excess:
        return AdjustmentActivation(
            session.on_s - before_s, tuple(taken), excess.happened.rstrip(".")
        )
    policy.released(on_s, timed_out=output.gone)
    await actuator.ask_again()
    return AdjustmentActivation(on_s, tuple(taken), nothing=not output.there)


async def _act(
    policy: AdjustPolicy, actuator: TrimActuator, opened: Activation, current_ma: float
) -> bool:
    """Carry out what the policy wants now; False when it lets go."""
    while isinstance(action := policy.next_action(), Move | Press):
        if not await actuator.carry_out(action, opened, current_ma):
            return False
    return isinstance(action, TakeReading)


class _Output:
    """Tells an output that goes away from a spike and from a fall that a move has caused.

    Readings that fall are held back until it is clear which: the meter's window lets an output
    that has gone fall over several readings, and they say nothing of the unit. So are the first
    ones until an output is there at all.
    """

    def __init__(self, target_ma: float) -> None:
        self.gone = self.there = False
        self._there_ma, self._risen_ma = _THERE * target_ma, _RISEN * target_ma
        self._last_ma = 0.0
        self._held: list[Sample] = []

    def confirmed_readings(self, sample: Sample) -> list[Sample]:
        """The readings to go by now that `sample` has come."""
        self._held.append(sample)
        self.there = self.there or sample.current_ma > self._there_ma
        if not self.there:
            return []
        fallen = self._last_ma > self._risen_ma and sample.current_ma < _FALLEN * self._last_ma
        if fallen and not self._steady():
            lowest = sum(held.current_ma < _GONE * self._last_ma for held in self._held)
            self.gone = lowest >= 1 and len(self._held) > 1
            return []
        self._last_ma = sample.current_ma
        held, self._held = self._held, []
        return held

    def _steady(self) -> bool:
        """Whether the latest readings agree, at a level that is not nothing."""
        if len(self._held) < 2:
            return False
        before, now = (held.current_ma for held in self._held[-2:])
        return now > _GONE * self._last_ma and abs(now - before) < _STEADY * self._last_ma
