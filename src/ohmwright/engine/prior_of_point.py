"""What is known of an adjustment point before it is adjusted."""

from __future__ import annotations

from dataclasses import dataclass

from ohmwright.adjustment.fleet_prior import FleetPrior
from ohmwright.estimation.point import Expected


@dataclass(frozen=True)
class PriorOfPoint:
    """None where nothing is known."""

    prior: FleetPrior | None = None
    """Gain, lag and share of hunting units of earlier units of the model."""
    expected: Expected | None = None
    """The current at the start that this unit's own as-found power curve predicts, in mA."""
