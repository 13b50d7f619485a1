"""One activation of an adjustment: readings go to the policy, its moves to the trim."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.adjustment.actions import Move, Press, TakeReading
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.instruments.analyzer import Analyzer
from ohmwright.model.errors import ActivationCutShort, ExcessiveOutput, FootSwitchLetGo
from ohmwright.model.result import Sample
from ohmwright.model.step import Point

from .activation import Activation
from .output_loss import OutputLossDetector
from .rested_activation import refuse_cut_short
from .sampling import StandingFigure, samples
from .session import Session
from .trim_actuator import TrimActuator

_NO_OUTPUT_AFTER_S = 6.0
"""Age after which an output that has not come on is not waited for: no lag is that long."""


class KnownReadings:
    """Keeps back what only repeats a figure, until it is known whether the meter held it.

    `digit_ma`: the meter's last digit.
    """

    def __init__(self, digit_ma: float) -> None:
        self._figure = StandingFigure(digit_ma)
        self._noted: list[Sample] = []
        self._told = 0

    def note(self, sample: Sample) -> None:
        """Take in a reading."""
        self._noted.append(sample)
        self._figure.note(*sample)

    @property
    def may_be_held(self) -> bool:
        """Whether the meter may hold its figure now."""
        return self._figure.stands

    @property
    def latest_ma(self) -> float:
        """The latest current, in mA."""
        return self._noted[-1].current_ma

    def new(self) -> list[Sample]:
        """Return the readings now known to count that were not returned yet, oldest first."""
        if self._figure.stands:
            return []
        first, self._told = self._told, len(self._noted)
        pairs = zip(self._noted[first:], self._figure.counts[first:], strict=True)
        return [sample for sample, counts in pairs if counts]


@dataclass(frozen=True)
class AdjustmentActivation:
    """How long RF was on, in seconds, and the readings."""

    on_s: float
    samples: tuple[Sample, ...]
    excess: str = ""
    """What ended the activation early, where far too much flowed; else empty."""
    no_output: bool = False
    """Whether no output came on; then the policy was given no reading."""


async def run_adjustment_activation(
    session: Session,
    policy: AdjustPolicy,
    actuator: TrimActuator,
    point: Point,
    *,
    power_w: float,
    limit_s: float,
    warmth: ResidualWarmth,
) -> AdjustmentActivation:
    """Activate, carry out the policy's actions until it releases, and return the readings.

    `power_w`: the most that the output can put into the load. A service mode that timed out, and a
    limit that ran out while a person was at the keys, or a foot switch that was let go, are
    reported to the policy as a release. Raises ActivationCutShort for one that ended otherwise.
    """
    before_s, let_go = session.on_s, False
    detector = OutputLossDetector(point.target.value)
    readings: list[Sample] = []
    try:
        async with session.activation(
            load_ohm=point.load_ohm, power_w=power_w, limit_s=limit_s
        ) as opened:
            policy.activated(warmth)
            if actuator.coach is not None:
                actuator.coach.activated()
            await _follow_policy(session, policy, actuator, opened, detector, readings)
            on_s = min(opened.age_s, opened.limit_s)
            await _refuse_trip(session.bench.analyzer, opened)
    except ExcessiveOutput as excess:
        on_s = session.on_s - before_s
        await actuator.resolve_unanswered_presses()
        return AdjustmentActivation(on_s, tuple(readings), excess.happened.rstrip("."))
    except FootSwitchLetGo as early:
        on_s, let_go = session.on_s - before_s, True
        await session.bench.operator.tell(str(early))
    policy.released(on_s, timed_out=detector.output_lost, let_go=let_go)
    session.note_window_by_moves(policy.log.record())
    if policy.log.undisturbed:
        session.note_droop(readings, policy.spec.question.at_age_s)
    await actuator.resolve_unanswered_presses()
    return AdjustmentActivation(on_s, tuple(readings), no_output=not detector.onset_seen)


async def _refuse_trip(analyzer: Analyzer, opened: Activation) -> None:
    """Raise ActivationCutShort where RF was off before the limit can have ended the activation."""
    try:
        if not opened.may_have_ended:
            await refuse_cut_short(analyzer, opened)
    except ActivationCutShort:
        if not opened.may_have_ended:
            raise


async def _follow_policy(
    session: Session,
    policy: AdjustPolicy,
    actuator: TrimActuator,
    opened: Activation,
    detector: OutputLossDetector,
    readings: list[Sample],
) -> None:
    """Take readings and carry out actions until the policy, the output or the limit ends it.

    Appends each reading to `readings` as it comes, so that they are kept whatever ends it. While
    the meter may hold its figure the policy is asked for nothing.
    """
    analyzer = session.bench.analyzer
    known = KnownReadings(analyzer.digit_ma)
    async for sample in samples(
        opened,
        analyzer.fetch_current,
        session.bench.clock,
        interval_s=1 / analyzer.data.meter.readings_per_s,
        until_s=opened.earliest_end_s,
        digit_ma=analyzer.digit_ma,
    ):
        readings.append(sample)
        session.take_reading(sample, opened)
        for valid in detector.valid_readings(sample):
            known.note(valid)
        for reading in known.new():
            policy.read(*reading)
        if detector.output_lost:
            return
        if not detector.onset_seen:
            if sample.age_s > _NO_OUTPUT_AFTER_S:
                return
        elif not await _carry_out_actions(policy, actuator, opened, known):
            return


async def _carry_out_actions(
    policy: AdjustPolicy, actuator: TrimActuator, opened: Activation, known: KnownReadings
) -> bool:
    """Carry out the moves that the policy asks for; return whether it wants another reading.

    It is asked for none while presses are waited for that a person was told to make, and while the
    meter may hold its figure.
    """
    if not actuator.look(opened):
        return False
    if actuator.waits or known.may_be_held:
        return True
    while isinstance(action := policy.next_action(), Move | Press):
        if not await actuator.carry_out(action, opened, known.latest_ma):
            return False
        if actuator.waits:
            return True
    return isinstance(action, TakeReading)
