"""The load bank: its resistances as built, and how it warms, drifts and trips."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import exp, pi

from ohmwright.model.hardware import LoadBankData

from .profile import BankPhysics
from .randomness import Randomness


@dataclass(frozen=True, slots=True)
class Resistor:
    """One load resistance as built: cold resistance and residual inductance."""

    resistance_ohm: float
    inductance_h: float

    def reactance_ohm(self, frequency_hz: float) -> float:
        """Reactance in ohm of the residual inductance at `frequency_hz`."""
        return 2 * pi * frequency_hz * self.inductance_h


class LoadBank:
    """All resistances share one heat: 1 is the mean temperature rise at the rated duty."""

    def __init__(self, data: LoadBankData, physics: BankPhysics, own: Randomness) -> None:
        self.steps: Mapping[float, Resistor] = {
            nominal: _as_built(nominal, physics, own) for nominal in data.loads_ohm
        }
        self._drift_per_heat = own.between("heat_drift", physics.heat_drift)
        self._heat_per_w = 1 / (data.max_power_w * data.duty)
        self._trip_power_w = physics.trip_power * data.max_power_w
        self._thermal_tau_s, self._trip_heat = physics.thermal_tau_s, physics.trip_heat
        self._step_s = self._step = 0.0
        """The last duration, and by what share of the way heat came nearer to its end then."""
        self.heat = 0.0
        self.drift = 0.0
        """Relative change of resistance at the present heat."""

    def warm(self, power_w: float, duration_s: float) -> bool:
        """Take `power_w` for `duration_s`; whether that trips the bank."""
        if duration_s != self._step_s:
            self._step_s, self._step = duration_s, 1 - exp(-duration_s / self._thermal_tau_s)
        heat = self.heat
        self.heat = heat = heat + (power_w * self._heat_per_w - heat) * self._step
        self.drift = self._drift_per_heat * heat
        return power_w > self._trip_power_w or heat > self._trip_heat

    def cool(self, duration_s: float) -> None:
        """Cool down for `duration_s`."""
        self.heat *= exp(-duration_s / self._thermal_tau_s)
        self.drift = self._drift_per_heat * self.heat


def _as_built(nominal_ohm: float, physics: BankPhysics, own: Randomness) -> Resistor:
    step, limit = own.under(f"{nominal_ohm:g} ohm"), physics.tolerance
    return Resistor(
        resistance_ohm=nominal_ohm * (1 + step.between("tolerance", (-limit, limit))),
        inductance_h=1e-6 * step.between("inductance", physics.inductance_uh),
    )
