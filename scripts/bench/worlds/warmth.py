"""Two bodies that the output warms, and a unit that warms up over minutes.

The inner body sheds its heat into the outer one, that into the air by natural convection, which
cools less the cooler it is. Temperatures are relative to those at steady output on target.
"""

from __future__ import annotations

from math import exp

from .drawn import Drawn

_CONVECTION = 1.25
"""Heat to still air goes with this power of the excess temperature (common practice)."""
_OUTER_SHARE = 0.3
"""Of the inner body's steady excess temperature, what the outer body has."""
_COARSE_STEP_S = 0.25


class Warmth:
    """Temperatures of the inner and outer body, and how far the unit has warmed up."""

    def __init__(self, unit: Drawn) -> None:
        self._unit = unit
        self.inner = self.outer = self.warmed_up = 0.0

    def step(self, power: float, time_s: float) -> None:
        """Let `time_s` pass at a relative `power`; time constants are much longer."""
        unit = self._unit
        flow = self.inner - _OUTER_SHARE * self.outer
        self.inner += time_s / unit.body_tau_s * ((1 - _OUTER_SHARE) * power - flow)
        lost = max(self.outer, 0.0) ** _CONVECTION
        self.outer += time_s / unit.outer_tau_s * (max(flow, 0.0) / (1 - _OUTER_SHARE) - lost)
        self.warmed_up += (1 - self.warmed_up) * (1 - exp(-time_s / unit.warm_up_tau_s))

    def rest(self, time_s: float) -> None:
        """Let `time_s` pass without output."""
        for _ in range(round(time_s / _COARSE_STEP_S)):
            self.step(0.0, _COARSE_STEP_S)

    def droop_factor(self) -> float:
        """What the bodies' warmth leaves of the output."""
        return 1 - self._unit.droop * self.inner - self._unit.outer_droop * self.outer

    def unit_factor(self) -> float:
        """What the warm-up makes of the output."""
        return 1 + self._unit.warm_up * self.warmed_up
