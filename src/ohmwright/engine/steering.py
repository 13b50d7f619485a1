"""One activation of an adjustment: readings go to the policy, its moves to the trim."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.metrology.actions import Move, Press
from ohmwright.metrology.actions import Sample as TakeReading
from ohmwright.metrology.adjusting import AdjustPolicy
from ohmwright.metrology.droop import LeftOver
from ohmwright.model.procedure import Point
from ohmwright.model.result import Sample

from .activation import Activation
from .sampling import samples
from .session import Session
from .trimming import Hand
from .watch import refuse_cut_short

_LAST_READING_BEFORE_LIMIT_S = 0.3
_RISEN = 0.3
_GONE = 0.6
"""A reading under this part of the one before is a spike, or the output has gone."""


@dataclass(frozen=True)
class Steered:
    """How long RF was on, and the readings."""

    on_s: float
    samples: tuple[Sample, ...]


async def steer(
    session: Session,
    policy: AdjustPolicy,
    hand: Hand,
    point: Point,
    *,
    power_w: float,
    limit_s: float,
    left: LeftOver,
) -> Steered:
    """Activate, and do as the policy says until it lets go.

    It hears of a service mode that timed out, and of a limit that ran out while a person was at
    the keys, as a release it has not asked for. An activation that ended otherwise raises
    ActivationCutShort.
    """
    analyzer = session.bench.analyzer
    output = _Output(_RISEN * point.target.value)
    taken: list[Sample] = []
    async with session.activation(
        load_ohm=point.load_ohm, power_w=power_w, limit_s=limit_s
    ) as opened:
        policy.activated(left)
        async for sample in samples(
            opened,
            analyzer.fetch_current,
            session.bench.clock,
            interval_s=1 / analyzer.data.meter.readings_per_s,
            until_s=limit_s - _LAST_READING_BEFORE_LIMIT_S,
        ):
            taken.append(sample)
            session.on_sample(sample)
            opened.note_power(sample.current_ma, point.load_ohm)
            for good in output.sure(sample):
                policy.read(*good)
            if output.gone or not await _act(policy, hand, opened, sample.current_ma):
                break
        on_s = opened.age_s
        if opened.age_s < limit_s:
            await refuse_cut_short(analyzer, opened)
    policy.released(on_s, timed_out=output.gone)
    return Steered(on_s, tuple(taken))


async def _act(policy: AdjustPolicy, hand: Hand, opened: Activation, current_ma: float) -> bool:
    """Carry out what the policy wants now; False when it lets go."""
    while isinstance(action := policy.next_action(), Move | Press):
        await hand.carry_out(action, opened, current_ma)
    return isinstance(action, TakeReading)


class _Output:
    """Tells an output that has gone from a single spike, by holding a doubtful reading back."""

    def __init__(self, risen_ma: float) -> None:
        self.gone = False
        self._risen_ma = risen_ma
        self._last_ma = 0.0
        self._doubtful: Sample | None = None

    def sure(self, sample: Sample) -> list[Sample]:
        """The readings to go by now that `sample` has come."""
        risen = self._last_ma > self._risen_ma
        if risen and sample.current_ma < _GONE * self._last_ma:
            self.gone = self._doubtful is not None
            self._doubtful = sample
            return []
        held = [] if self._doubtful is None else [self._doubtful]
        self._last_ma, self._doubtful = sample.current_ma, None
        return [*held, sample]
