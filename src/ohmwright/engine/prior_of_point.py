"""What is known of an adjustment point before it is adjusted."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.adjustment.point import Expected


@dataclass(frozen=True)
class PriorOfPoint:
    """What earlier units and the unit's own power curve say of an adjustment point."""

    prior: FleetPrior | None = None
    """Gain, lag and share of hunting units, from earlier units of the model; None without any."""
    expected: Expected | None = None
    """Current before adjusting, in mA, by the as-found power curve; None without a curve."""
