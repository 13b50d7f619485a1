"""A proof that a unit delivers its setting, made before a small leakage is believed."""

from __future__ import annotations

from math import sqrt

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.hardware import AnalyzerData, Mode
from ohmwright.model.step import Timing

from .doubt import Doubt, OutputSetting
from .requirements import expected_ma
from .rested_activation import ActivationReadings, rest_and_measure
from .session import Session
from .undoubted import UndoubtedMeasurement, doubt_in, least_output_ma

_DELIVERED_RATIO = 0.75
"""Least power over the setting's that shows, near the rated load, that it is set as asked."""
_LONGEST_LAG_S = 6.0
"""Age after which an output that has not come is not waited for any more."""
_CONSECUTIVE_READINGS = 2
"""Readings in a row that must show the output."""


def proof_of_delivery(
    session: Session, chosen: OutputSetting, timing: Timing
) -> UndoubtedMeasurement[ActivationReadings]:
    """Return a measurement in about the rated load that ends as soon as the output has come.

    An output that stays too low is resolved as "far off"; `verdict_instead` is then not None.
    """
    data, mode = session.bench.analyzer.data, session.bench.generator.data.mode(chosen.mode)
    load_ohm = proof_load_ohm(data, mode, chosen.setting_w)
    asked_ma = expected_ma(mode, chosen.setting_w, load_ohm)
    least_ma, delivered = least_output_ma(session, asked_ma), UntilDelivered(asked_ma)

    async def measure() -> ActivationReadings:
        nonlocal delivered
        session.target_band = None
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
        return "far off" if found is None and not delivered.delivered else found

    return UndoubtedMeasurement(
        session,
        chosen,
        load_ohm,
        timing.max_on_s,
        measure,
        doubt,
        lambda seen: seen.excess or delivered.summary,
    )


class UntilDelivered:
    """Stop rule: the current has reached what the setting should drive, or the wait is over."""

    def __init__(self, asked_ma: float) -> None:
        self._asked_ma, self._good, self._last_ma = asked_ma, 0, 0.0

    @property
    def delivered(self) -> bool:
        """Whether enough readings in a row have shown the expected current."""
        return self._good >= _CONSECUTIVE_READINGS

    @property
    def summary(self) -> str:
        """The last reading beside the expected current, as a clause for a person."""
        return f"{self._last_ma:.0f} mA flowed where about {self._asked_ma:.0f} mA was expected"

    def read(self, age_s: float, current_ma: float) -> bool:
        """Take a reading; return True when no more are needed."""
        self._last_ma = current_ma
        reached = current_ma >= sqrt(_DELIVERED_RATIO) * self._asked_ma
        self._good = self._good + 1 if reached else 0
        return self.delivered or age_s > _LONGEST_LAG_S

    def settled(self) -> Settled | None:
        """Return None: no value is taken from this activation."""
        return None


def proof_load_ohm(data: AnalyzerData, mode: Mode | None, setting_w: float) -> float:
    """Return the load nearest to the mode's rated one whose current is in the meter's range."""
    rated_ohm = data.load_bank.loads_ohm[0] if mode is None else mode.rated_load_ohm
    measurable = [
        ohm
        for ohm in data.load_bank.loads_ohm
        if 1000 * sqrt(setting_w / ohm) <= data.meter.max_current_ma
    ]
    return min(measurable or data.load_bank.loads_ohm, key=lambda ohm: abs(ohm - rated_ohm))
