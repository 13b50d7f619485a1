"""Duty: running mean of the power over the mean power that a load or generator is rated for."""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, log

MEAN_OVER_S = 120.0
"""Time constant of the mean: shorter than any load bank or heat sink takes to warm through."""
_LEAST_ALLOWED = 0.05
"""Utilisation down to which to rest even before an activation that exceeds the rating alone."""


@dataclass(frozen=True)
class Duty:
    """Rated duty of a load or generator, and how far it is used.

    The rating is `power_w` for the `share` of the time, 0 to 1; `utilisation` is the running mean
    of the power over the rated mean, `power_w` times `share`: 1 can be kept up without end.
    """

    power_w: float
    share: float
    utilisation: float = 0.0

    def after(self, power_w: float, on_s: float) -> Duty:
        """The duty after `on_s` at `power_w`; 0 W is a rest."""
        kept = exp(-on_s / MEAN_OVER_S)
        utilisation = self.utilisation * kept + self._relative(power_w) * (1 - kept)
        return Duty(self.power_w, self.share, utilisation)

    def rest_s(self, power_w: float, on_s: float) -> float:
        """Shortest rest, s, after which `on_s` at `power_w` leaves the utilisation at most 1."""
        kept = exp(-on_s / MEAN_OVER_S)
        allowed = max(_LEAST_ALLOWED, 1 - self._relative(power_w) * (1 - kept))
        return max(0.0, MEAN_OVER_S * log(max(self.utilisation, 1e-9) * kept / allowed))

    def _relative(self, power_w: float) -> float:
        """A power over the rated mean."""
        return power_w / (self.power_w * self.share)
