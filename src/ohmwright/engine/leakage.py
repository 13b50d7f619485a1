"""HF leakage: a current that must stay small while RF is known to flow."""

from __future__ import annotations

from collections.abc import AsyncIterator
from math import sqrt

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.event import Event
from ohmwright.model.hardware import AnalyzerData, Mode
from ohmwright.model.procedure import LeakageStep, Stage, Timing

from .doubt import AsTold, Chosen, DoubtResolver, doubt_in
from .point_measurement import Observation, observe
from .rested_activation import rest_and_measure
from .session import Session

_DELIVERS = 0.75
"""Least part of its setting that a unit gives into about its rated load if set as asked."""
_LONGEST_LAG_S = 6.0
_IN_A_ROW = 2


async def leakage(
    session: Session, stage: Stage, step: LeakageStep, timing: Timing
) -> AsyncIterator[Event]:
    """Show that the unit delivers at this mode and setting, then measure what leaks.

    Without output a small leakage says nothing, and neither does a path that shows nothing at
    all: then the point is not measured, unless a person knows better.
    """
    bench, point = session.bench, step.points()[0]
    chosen = Chosen(step.mode, step.setting_w)
    proof = DeliveryProof(session, chosen)
    await bench.generator.select(*chosen)
    async for event in proof.events(timing):
        yield event
    if proof.told is not None:
        nothing = Observation("not measured", "", None, None, 0.0, ()).as_told(proof.told)
        yield session.point_done(nothing.result(stage, step, point), "none", *chosen)
        return
    clearing = DoubtResolver.of(session, chosen)
    while True:
        await session.join_path("LEAKAGE")
        yield session.activation_opened(
            load_ohm=point.load_ohm, limit_s=timing.max_on_s, setting_w=chosen.setting_w
        )
        seen = await observe(
            session,
            point,
            power_w=chosen.setting_w,
            timing=timing,
            fetch=bench.analyzer.fetch_leakage,
        )
        # only on the output path would RF that stayed on be seen to flow
        await session.join_path("OUTPUT")
        await session.confirm_nothing_flows()
        yield session.activation_closed()
        if doubt_in(session, seen.samples, asked_ma=0.0) is None:
            break
        told = await clearing.resolve("no leakage", "")
        if told is not None:
            seen = seen.as_told(told)
            break
    yield session.point_done(seen.result(stage, step, point), "LEAKAGE", *chosen)


class DeliveryProof:
    """A brief activation into about the rated load: does the unit give what was chosen?"""

    def __init__(self, session: Session, chosen: Chosen) -> None:
        self._session, self._chosen = session, chosen
        self.told: AsTold | None = None
        """What is to be recorded of the leakage where nothing was delivered."""

    async def events(self, timing: Timing) -> AsyncIterator[Event]:
        """Activate until the output is there; clear up why where it is not."""
        session, chosen = self._session, self._chosen
        data, mode = session.bench.analyzer.data, session.bench.generator.data.mode(chosen.mode)
        load_ohm = proof_load_ohm(data, mode, chosen.setting_w)
        asked_ma = expected_ma(mode, chosen.setting_w, load_ohm)
        clearing = DoubtResolver.of(session, chosen)
        await session.join_path("OUTPUT")
        while True:
            delivers = UntilDelivered(asked_ma)
            yield session.activation_opened(
                load_ohm=load_ohm, limit_s=timing.max_on_s, setting_w=chosen.setting_w
            )
            session.aim = None
            seen = await rest_and_measure(
                session,
                load_ohm=load_ohm,
                power_w=chosen.setting_w,
                timing=timing,
                fetch=session.bench.analyzer.fetch_current,
                stop_rule=lambda _, delivers=delivers: delivers,  # type: ignore[misc]
                tolerance=1.0,
            )
            yield session.activation_closed()
            doubt = doubt_in(session, seen.samples, asked_ma, seen.excess)
            if doubt is None and not delivers.enough:
                doubt = "far off"
            if doubt is None or clearing.stands(doubt):
                return
            self.told = await clearing.resolve(doubt, seen.excess or delivers.words)
            if self.told is not None:
                return


class UntilDelivered:
    """Watches until the current is what the setting leads to expect, or long enough."""

    def __init__(self, asked_ma: float) -> None:
        self._asked_ma, self._good, self._last_ma = asked_ma, 0, 0.0

    @property
    def enough(self) -> bool:
        """Whether the output was there."""
        return self._good >= _IN_A_ROW

    @property
    def words(self) -> str:
        """What was seen, for a person."""
        return f"{self._last_ma:.0f} mA flowed where about {self._asked_ma:.0f} mA was expected"

    def read(self, age_s: float, current_ma: float) -> bool:
        """Take a reading; True when no more are needed."""
        self._last_ma = current_ma
        there = current_ma >= sqrt(_DELIVERS) * self._asked_ma
        self._good = self._good + 1 if there else 0
        return self.enough or age_s > _LONGEST_LAG_S

    def settled(self) -> Settled | None:
        """No value is taken."""
        return None


def proof_load_ohm(data: AnalyzerData, mode: Mode | None, setting_w: float) -> float:
    """The load resistance nearest to the mode's rated one whose current the meter can show."""
    rated_ohm = data.load_bank.loads_ohm[0] if mode is None else mode.rated_load_ohm
    measurable = [
        ohm
        for ohm in data.load_bank.loads_ohm
        if 1000 * sqrt(setting_w / ohm) <= data.meter.max_current_ma
    ]
    return min(measurable or data.load_bank.loads_ohm, key=lambda ohm: abs(ohm - rated_ohm))


def expected_ma(mode: Mode | None, setting_w: float, load_ohm: float) -> float:
    """The current, in mA, that a setting leads to expect: P = I² R, up to the mode's limit."""
    current_ma = 1000 * sqrt(setting_w / load_ohm)
    if mode is None or mode.max_current_ma is None:
        return current_ma
    return min(current_ma, mode.max_current_ma)
