"""Proof that a unit delivers what was chosen, before anything is said of what leaks."""

from __future__ import annotations

from math import sqrt

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.hardware import AnalyzerData, Mode
from ohmwright.model.step import Timing

from .doubt import Chosen, Doubt, doubt_in, least_output_ma
from .requirements import expected_ma
from .rested_activation import ActivationReadings, rest_and_measure
from .session import Session
from .undoubted import Undoubted

_DELIVERS = 0.75
"""Least part of its setting that a unit gives into about its rated load if set as asked."""
_LONGEST_LAG_S = 6.0
_IN_A_ROW = 2


def proof_of_delivery(
    session: Session, chosen: Chosen, timing: Timing
) -> Undoubted[ActivationReadings]:
    """A brief activation into about the rated load, which ends when the output is there."""
    data, mode = session.bench.analyzer.data, session.bench.generator.data.mode(chosen.mode)
    load_ohm = proof_load_ohm(data, mode, chosen.setting_w)
    asked_ma = expected_ma(mode, chosen.setting_w, load_ohm)
    least_ma, delivered = least_output_ma(session, asked_ma), UntilDelivered(asked_ma)

    async def measure() -> ActivationReadings:
        nonlocal delivered
        session.aim = None
        delivered = UntilDelivered(asked_ma)
        return await rest_and_measure(
            session,
            load_ohm=load_ohm,
            power_w=chosen.setting_w,
            timing=timing,
            fetch=session.bench.analyzer.fetch_current,
            stop_rule=lambda _: delivered,
            tolerance=1.0,
        )

    def doubt(seen: ActivationReadings) -> Doubt | None:
        found = doubt_in(seen.samples, least_ma, seen.excess)
        return "far off" if found is None and not delivered.enough else found

    return Undoubted(
        session,
        chosen,
        load_ohm,
        timing.max_on_s,
        measure,
        doubt,
        lambda seen: seen.excess or delivered.words,
    )


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
