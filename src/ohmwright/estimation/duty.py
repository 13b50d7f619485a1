"""Duty: running mean of the power against the mean that a load or generator bears for ever."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

_MEAN_OVER_S = 120.0
"""Time constant of the mean: shorter than any load bank or heat sink takes to warm through."""
_LEAST = 0.05


@dataclass(frozen=True)
class Duty:
    """Rated duty of a load or generator, and its running mean.

    Rated is `power_w` for the `share` of the time, 0 to 1; `load` is the running mean of the power
    over the rated mean, `power_w` times `share`: no more than 1 is borne for ever.
    """

    power_w: float
    share: float
    load: float = 0.0

    def after(self, power_w: float, on_s: float) -> Duty:
        """The duty after `on_s` at `power_w`; 0 W is a rest."""
        kept = exp(-on_s / _MEAN_OVER_S)
        load = self.load * kept + self._relative(power_w) * (1 - kept)
        return Duty(self.power_w, self.share, load)

    def rest_s(self, power_w: float, on_s: float) -> float:
        """Shortest rest, s, after which `on_s` at `power_w` leaves `load` no higher than 1."""
        kept = exp(-on_s / _MEAN_OVER_S)
        room = max(_LEAST, 1 - self._relative(power_w) * (1 - kept))
        return max(0.0, _MEAN_OVER_S * log(max(self.load, 1e-9) * kept / room))

    def _relative(self, power_w: float) -> float:
        """A power over the rated mean."""
        return power_w / (self.power_w * self.share)
