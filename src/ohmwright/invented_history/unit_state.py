"""One invented unit over the years: its trims, and its true output on a day."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date
from math import exp

from ohmwright.model.hardware import GeneratorData
from ohmwright.simulator.load_bank import LoadBank
from ohmwright.simulator.output_stage import current_ma
from ohmwright.simulator.profile import GeneratorProfile
from ohmwright.simulator.unit import Unit

from .fleet import InventedUnit

_MONTH_DAYS = 30.4375


@dataclass
class AgeingUnit:
    """A unit with the trims that its latest visit has left."""

    invented: InventedUnit
    profile: GeneratorProfile
    trims: dict[str, int] = field(default_factory=dict)
    unit: Unit = field(init=False)

    def age_to(self, day: date) -> None:
        """Let the unit age to `day`; another output board begins with trims of its own."""
        begun, months = self.invented.visits[0], self.invented.age_months
        seed, repaired = self.invented.seed, self.invented.repaired
        if repaired is not None and day >= repaired:
            begun, months, seed = repaired, 0.0, seed + 1
            self.trims = self.trims if seed == self._built_from else {}
        self._built_from = seed
        months += self.invented.pace * (day - begun).days / _MONTH_DAYS
        self.unit = Unit.build(self.profile, seed, months)
        start = {name: trim.start_counts for name, trim in self.unit.trims.items()}
        self.trims = start | self.trims

    _built_from: int = 0

    @property
    def data(self) -> GeneratorData:
        """Its generator data."""
        return self.profile.data

    def true_ma(
        self, mode: str, setting_w: float, load_ohm: float, bank: LoadBank, age_s: float
    ) -> float:
        """True current in mA at `age_s` of a rested activation into the load as built."""
        load, dynamics = bank.steps[load_ohm], self.unit.dynamics
        cold_ma = current_ma(
            self.unit.limits(mode, setting_w),
            load.resistance_ohm,
            self.unit.trimmed_gains(mode, self.trims),
            load.reactance_ohm(self.unit.modes[mode].waveform.carrier_hz),
        )
        return cold_ma * (1 - dynamics.droop * (1 - exp(-age_s / dynamics.droop_tau_s)))
