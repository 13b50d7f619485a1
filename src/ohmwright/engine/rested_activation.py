"""A rested activation, which ends as soon as its readings are enough."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Protocol

from ohmwright.estimation.settled_value import Settled
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.instruments.analyzer import Analyzer, Reading
from ohmwright.model.errors import (
    ActivationCutShort,
    ActivationVoid,
    ExcessiveOutput,
    ProtocolError,
)
from ohmwright.model.result import Sample
from ohmwright.model.step import Timing

from .activation import Activation
from .meter_window import stated_window_s
from .sampling import activation_void, samples
from .session import Session
from .stop_rules import UntilSettled, dated
from .watched_rest import rest

_LIMIT_SLACK_S = 2.5
"""Allowed difference between the analyzer's time left and ours; no source.

Ours begins when ON is sent, the analyzer's when ON arrives, and its answer takes time on the line.
"""
_ASKED_AT_MOST = 2
"""Times that the time left is read before it counts as wrong: one answer may be damaged."""
Fetch = Callable[[], Awaitable[Reading]]
"""Asks the analyzer for its latest reading, in mA."""


class StopRule(Protocol):
    """Decides from the readings of one activation when they are enough, and what their value is."""

    def read(self, age_s: float, current_ma: float) -> bool:
        """Take a reading; return True when no more are needed."""

    def settled(self) -> Settled | None:
        """Return the value by the readings so far, in mA; None before the first reading."""


@dataclass(frozen=True)
class ActivationReadings:
    """The readings of one activation and the value of them; None when there was no reading."""

    settled: Settled | None
    on_s: float
    """How long RF was on until its readings ended; where far too much flowed, until it was off."""
    samples: tuple[Sample, ...]
    excess: str = ""
    """What ended it early, where far too much flowed; else empty. Then there is no value."""


async def rest_and_measure(
    session: Session,
    *,
    load_ohm: float,
    power_w: float,
    timing: Timing,
    fetch: Fetch,
    stop_rule: Callable[[ResidualWarmth], StopRule],
    expected_w: float | None = None,
    tolerance: float = 0.0,
) -> ActivationReadings:
    """Rest, activate, take readings until the stop rule has enough, and return them.

    The activation ends at the latest when there is no time for another reading before its limit,
    and at the first reading of far more than `power_w`. `stop_rule`: makes the rule, given the
    warmth left over; `expected_w`: about the power that will flow, where that is less than
    `power_w`; `tolerance`: see `watched_rest.rest`. Raises ActivationCutShort where the analyzer
    ended the activation.
    """
    wanted_w = power_w if expected_w is None else expected_w
    warmth = await rest(session, timing, power_w=wanted_w, tolerance=tolerance)
    rule, before_s = stop_rule(warmth), session.on_s
    taken: list[Sample] = []
    try:
        async with session.activation(
            load_ohm=load_ohm, power_w=power_w, limit_s=timing.max_on_s
        ) as opened:
            async for sample in samples(
                opened,
                fetch,
                session.bench.clock,
                interval_s=1 / session.bench.analyzer.data.meter.readings_per_s,
                until_s=opened.earliest_end_s,
                digit_ma=session.bench.analyzer.digit_ma,
            ):
                taken.append(sample)
                session.take_reading(sample, opened)
                if rule.read(*sample):
                    break
            on_s = opened.age_s
            await refuse_cut_short(session.bench.analyzer, opened)
    except ExcessiveOutput as excess:
        return ActivationReadings(
            None, session.on_s - before_s, tuple(taken), excess.happened.rstrip(".")
        )
    if taken:
        session.note_window(taken)
        session.note_droop(taken, timing.age_s)
    return ActivationReadings(_dated_value(rule, session), on_s, tuple(taken))


def _dated_value(rule: StopRule, session: Session) -> Settled | None:
    settled = rule.settled()
    return None if settled is None else dated(settled, session.bench)


async def measure_settled_output(
    session: Session, *, load_ohm: float, power_w: float, timing: Timing, tolerance: float = 0.0
) -> ActivationReadings:
    """Rest, activate, and read the load current until it has settled; see `rest_and_measure`."""
    analyzer = session.bench.analyzer
    meter = analyzer.data.meter
    return await rest_and_measure(
        session,
        load_ohm=load_ohm,
        power_w=power_w,
        timing=timing,
        fetch=analyzer.fetch_current,
        stop_rule=lambda warmth: UntilSettled(
            timing.age_s, stated_window_s(meter), meter.resolution_ma, warmth
        ),
        tolerance=tolerance,
    )


async def refuse_cut_short(analyzer: Analyzer, opened: Activation) -> None:
    """Raise ActivationCutShort where RF was off before the activation was ended.

    Raises FootSwitchLetGo where a person kept it on, ProtocolError where the analyzer contradicts
    itself, and ActivationVoid where it has another time left of the limit than the bench's clock.
    """
    if not await analyzer.output_on():
        if analyzer.keyed_by_foot:
            opened.refuse_let_go()  # where no current was ever seen there is nothing to refuse
            return
        await _refuse_contradiction(analyzer, opened)
        raise ActivationCutShort(
            f"RF reads as off already when the activation is {opened.age_s:.1f} s old.",
            "The analyzer tripped or ended it by itself, another connection ended it, or what it "
            "says is not true; no value was taken from it.",
            "Let the load cool, check the analyzer's messages, then resume the run.",
        )
    await refuse_other_limit(analyzer, opened)


async def refuse_other_limit(analyzer: Analyzer, activation: Activation) -> None:
    """Raise ActivationVoid where the analyzer's time left differs from the activation's."""
    for _ in range(_ASKED_AT_MOST):
        left_s = await analyzer.left_s()
        if left_s is None:
            return
        early_s = activation.left_s - left_s
        if abs(early_s) <= _LIMIT_SLACK_S:
            return
    says = f"the analyzer has {left_s:.1f} s left of its limit, and the bench's clock "
    says += f"{activation.left_s:.1f} s"
    raise activation_void(says) if early_s > 0 else _limit_lags(says)


def _limit_lags(says: str) -> ActivationVoid:
    """Return the error where the analyzer has more left: no sleep of the computer explains that."""
    return ActivationVoid(
        f"The limit does not run down as it should: {says}.",
        "It stands still or has begun anew, or its answer is not true. RF might stay on for longer "
        "than it was told; no value was taken.",
        "Check 'remaining' and 'on' in the analyzer's command set, and the analyzer.",
    )


async def _refuse_contradiction(analyzer: Analyzer, opened: Activation) -> None:
    """Raise ProtocolError where the output reads off and time is left of its limit all the same."""
    left_s = await analyzer.left_s()
    if left_s is not None and left_s > 0:
        raise ProtocolError(
            f"The analyzer's keying output reads open when the activation is {opened.age_s:.1f} s "
            f"old, yet {left_s:.1f} s of its limit are still running.",
            "One of its answers is not true; no value was taken.",
            "Check cabling and command set ('state'), then the analyzer.",
        )
