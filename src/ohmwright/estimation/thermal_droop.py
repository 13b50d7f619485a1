"""Thermal droop: the output that a warming output stage loses, and regains in a rest.

The measurand holds for a rested activation. Warmth left from earlier ones is corrected for, and the
uncertainty of that correction says how long a rest must be. Warmth, `heat` in the arithmetic, is
counted from 0 (rested) to 1 (warm through), where the whole droop of the unit is lost.

A rested stage warms, too: `heat` at ON lowers a value at `age_s`, compared with the same value of a
rested activation, by the droop times heat * exp(-age_s / tau_s).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .coefficients import DROOP_TAU_S

RECOVERY_TAU_S = 15.0
"""Time constant with which a typical unit recovers in a rest, s: our own choice."""
_STEP_S = 0.5
"""Step in which the shortest rest is searched, s."""


def heated(heat: float, on_s: float, tau_s: float = DROOP_TAU_S) -> float:
    """Warmth, 0 to 1, after RF was on for `on_s`, from `heat` before."""
    return 1 - (1 - heat) * float(np.exp(-on_s / tau_s))


def cooled(heat: float, off_s: float, tau_s: float = RECOVERY_TAU_S) -> float:
    """Warmth, 0 to 1, after RF was off for `off_s`, from `heat` before."""
    return heat * float(np.exp(-off_s / tau_s))


@dataclass(frozen=True)
class Droop:
    """Bounds for the units of one model.

    `largest`: largest droop relative to the output; `tau_s`, `recovery_tau_s`: shortest and longest
    time constant of warming and of recovering, s.
    """

    largest: float
    tau_s: tuple[float, float]
    recovery_tau_s: tuple[float, float]


@dataclass(frozen=True)
class ResidualWarmth:
    """Warmth at the start of an activation, 0 to 1, and the uncertainty that it causes.

    `uncertainty`: standard, of the value corrected for `heat`, relative to the value;
    `largest_droop`: the most that a unit of its model loses when warm through, relative; None
    where its data do not state it.
    """

    heat: float = 0.0
    uncertainty: float = 0.0
    largest_droop: float | None = None


@dataclass(frozen=True)
class Warmth:
    """Warmth of one unit, 0 to 1: the likely one, and the least and the most it can be."""

    droop: Droop
    least: float = 0.0
    likely: float = 0.0
    most: float = 0.0

    def heated(self, on_s: float) -> Warmth:
        """The warmth after RF was on for `on_s`."""
        fast_s, slow_s = self.droop.tau_s
        return Warmth(
            self.droop,
            heated(self.least, on_s, slow_s),
            heated(self.likely, on_s),
            heated(self.most, on_s, fast_s),
        )

    def cooled(self, off_s: float) -> Warmth:
        """The warmth after RF was off for `off_s`."""
        fast_s, slow_s = self.droop.recovery_tau_s
        return Warmth(
            self.droop,
            cooled(self.least, off_s, fast_s),
            cooled(self.likely, off_s),
            cooled(self.most, off_s, slow_s),
        )

    def residual(self, age_s: float) -> ResidualWarmth:
        """Return the warmth at the start of an activation that begins now, for a value at `age_s`.

        The value is corrected for the likely warmth with the unit's own droop, as estimated. The
        error of that lies between those of the least and the most warmth with the largest droop,
        and is taken as uniform between them.
        """
        fast_s, slow_s = self.droop.tau_s
        likely_then = self.likely * np.exp(-age_s / DROOP_TAU_S)
        above = self.most * np.exp(-age_s / slow_s) - likely_then
        below = likely_then - self.least * np.exp(-age_s / fast_s)
        worst = self.droop.largest * max(above, below, 0.0)
        return ResidualWarmth(self.likely, float(worst / np.sqrt(3)), self.droop.largest)

    def planned_uncertainty(self, age_s: float) -> float:
        """Return the standard uncertainty, relative, to plan a rest with: no droop measured yet.

        Of a value at `age_s` that is corrected for the likely warmth with half the largest droop:
        an activation that begins warm does not show how much the unit droops when rested. The error
        is taken as uniform, up to the farther of no warmth and the most with the largest droop.
        """
        corrected = 0.5 * self.droop.largest * self.likely * np.exp(-age_s / DROOP_TAU_S)
        _, slow_s = self.droop.tau_s
        most = self.droop.largest * self.most * np.exp(-age_s / slow_s)
        return float(max(corrected, most - corrected) / np.sqrt(3))

    def rest_s(self, allowed: float, age_s: float, at_most_s: float) -> float:
        """Return the shortest rest in s after which a value at `age_s` is known well enough.

        That is within `allowed`, by `planned_uncertainty`; `at_most_s` where none is long enough.
        """
        rest_s, warmth = 0.0, self
        while rest_s < at_most_s and warmth.planned_uncertainty(age_s) > allowed:
            rest_s += _STEP_S
            warmth = self.cooled(rest_s)
        return min(rest_s, at_most_s)
