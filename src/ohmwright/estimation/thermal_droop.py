"""The droop: what a warming output stage loses, how it comes back in a rest, how long that takes.

The measurand holds for a rested activation. What is left of earlier warmth is corrected for; by
how much that correction may be wrong says how long a rest must be.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

DROOP_TAU_S, RECOVERY_TAU_S = 8.0, 15.0
"""Time constants taken for a unit of which none are known: warming, and recovering in rest."""
_STEP_S = 0.5


def droop_shape(age_s: Floats, at_age_s: float, window_s: float, heat: float) -> Floats:
    """Growth of the droop since the age asked for in a rested activation; 0 there."""
    centre_s = age_s - 0.5 * window_s
    shape: Floats = np.exp(-at_age_s / DROOP_TAU_S) - (1 - heat) * np.exp(-centre_s / DROOP_TAU_S)
    return shape


def heated(heat: float, on_s: float, tau_s: float = DROOP_TAU_S) -> float:
    """Warmth, 0 rested to 1 warm through, after RF was on for so long."""
    return 1 - (1 - heat) * float(np.exp(-on_s / tau_s))


def cooled(heat: float, off_s: float, tau_s: float = RECOVERY_TAU_S) -> float:
    """Warmth after RF was off for so long."""
    return heat * float(np.exp(-off_s / tau_s))


@dataclass(frozen=True)
class Droop:
    """What a model's units may do: largest relative droop, shortest and longest constants in s."""

    largest: float
    tau_s: tuple[float, float]
    recovery_tau_s: tuple[float, float]


@dataclass(frozen=True)
class ResidualWarmth:
    """Warmth at the start of an activation, and what it leaves unsure of the value, relative."""

    heat: float = 0.0
    uncertainty: float = 0.0


@dataclass(frozen=True)
class Warmth:
    """Warmth of one unit as it likely is, and between which bounds it must be."""

    droop: Droop
    least: float = 0.0
    likely: float = 0.0
    most: float = 0.0

    def heated(self, on_s: float) -> Warmth:
        """After RF was on for so long."""
        slow_s, fast_s = self.droop.tau_s[1], self.droop.tau_s[0]
        return Warmth(
            self.droop,
            heated(self.least, on_s, slow_s),
            heated(self.likely, on_s),
            heated(self.most, on_s, fast_s),
        )

    def cooled(self, off_s: float) -> Warmth:
        """After RF was off for so long."""
        fast_s, slow_s = self.droop.recovery_tau_s
        return Warmth(
            self.droop,
            cooled(self.least, off_s, fast_s),
            cooled(self.likely, off_s),
            cooled(self.most, off_s, slow_s),
        )

    def left_over(self, age_s: float) -> ResidualWarmth:
        """What an activation that begins now has to reckon with for its value at an age.

        The value is corrected for `likely`; how much the unit droops is the estimator's to say.
        The error lies between what the least and the most warmth would do with the largest
        droop; taken as uniform.
        """
        fast_s, slow_s = self.droop.tau_s
        likely = self.likely * np.exp(-age_s / DROOP_TAU_S)
        above = self.most * np.exp(-age_s / slow_s) - likely
        below = likely - self.least * np.exp(-age_s / fast_s)
        worst = self.droop.largest * max(above, below, 0.0)
        return ResidualWarmth(self.likely, float(worst / np.sqrt(3)))

    def uncertainty(self, age_s: float) -> float:
        """Standard uncertainty, relative, of a value at an age, the droop itself unknown.

        An activation that begins warm does not show how much the unit droops when rested.
        """
        middle = 0.5 * self.droop.largest * self.likely * np.exp(-age_s / DROOP_TAU_S)
        most = self.droop.largest * self.most * np.exp(-age_s / self.droop.tau_s[1])
        return float(max(middle, most - middle) / np.sqrt(3))

    def rest_s(self, allowed: float, age_s: float, at_most_s: float) -> float:
        """Shortest rest after which `uncertainty` is no more than `allowed`."""
        rest_s, warmth = 0.0, self
        while rest_s < at_most_s and warmth.uncertainty(age_s) > allowed:
            rest_s += _STEP_S
            warmth = self.cooled(rest_s)
        return min(rest_s, at_most_s)
