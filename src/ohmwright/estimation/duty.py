"""Duty: the mean power over the last minutes, against what load or generator bears for ever."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

_MEAN_OVER_S = 120.0
"""Time constant of the mean: shorter than any load bank or heat sink takes to warm through."""
_LEAST = 0.05


@dataclass(frozen=True)
class Duty:
    """`share` of on-time is borne at `power_w`; `load` is the mean, 1 where it is just borne."""

    power_w: float
    share: float
    load: float = 0.0

    def after(self, power_w: float, on_s: float) -> Duty:
        """After so long at a power; 0 W is a rest."""
        kept = exp(-on_s / _MEAN_OVER_S)
        load = self.load * kept + self._wanted(power_w) * (1 - kept)
        return Duty(self.power_w, self.share, load)

    def rest_s(self, power_w: float, on_s: float) -> float:
        """Shortest rest after which so long at a power keeps the mean borne."""
        kept = exp(-on_s / _MEAN_OVER_S)
        room = max(_LEAST, 1 - self._wanted(power_w) * (1 - kept))
        return max(0.0, _MEAN_OVER_S * log(max(self.load, 1e-9) * kept / room))

    def _wanted(self, power_w: float) -> float:
        return power_w / (self.power_w * self.share)
