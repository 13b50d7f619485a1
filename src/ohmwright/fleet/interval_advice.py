"""How long a unit may go until its next visit: by a reliability target, or at the least cost.

Reliability is the probability that a unit is in tolerance at the end of its interval. Times are in
years, counted from each unit's last value. No cost and no allowed interval leaves a unit in use
that is more likely out of tolerance than in it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from .creep_forecast import time_out
from .creep_model import FloatArray
from .worklist import PROBABLY_OUT

RiskAtTimes = Callable[[FloatArray], FloatArray]
"""Probability of each unit of being out of tolerance at times (units,)."""
_STEPS_A_YEAR = 26


@dataclass(frozen=True, slots=True)
class AllowedIntervals:
    """The shortest and the longest interval that are advised, in years.

    A unit that was probably out at its last value gets none: it is due at once.
    """

    shortest: float = 0.25
    longest: float = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class IntervalAdvice:
    """Interval of each unit in years, its reliability, and which are held to the longest one.

    0 years for a unit that was out of tolerance, or probably so, at its last value.
    """

    years: FloatArray
    reliability: FloatArray
    held: npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Costs:
    """What a visit costs, and a year in use out of tolerance; in one currency."""

    visit: float
    year_out: float


def by_reliability(
    risk: RiskAtTimes,
    start: FloatArray,
    target: float,
    allowed: AllowedIntervals = AllowedIntervals(),
) -> IntervalAdvice:
    """Return the interval at whose end each unit's reliability has fallen to `target`.

    `start`: times of the last values. Raises ValueError for a target outside (0, 1).
    """
    if not 0.0 < target < 1.0:
        raise ValueError("a reliability lies between 0 and 1, both excluded")
    years = time_out(risk, start, 1.0 - target, allowed.longest) - start
    held = np.isinf(years)
    years = np.clip(years, allowed.shortest, allowed.longest)
    years = np.where(risk(start) >= PROBABLY_OUT, 0.0, years)
    return IntervalAdvice(years, 1.0 - risk(start + years), held)


def at_least_cost(
    risk: RiskAtTimes,
    start: FloatArray,
    costs: Costs,
    allowed: AllowedIntervals = AllowedIntervals(),
) -> FloatArray:
    """Return the interval in years at which visits and time out of tolerance cost least a year.

    Coming early costs visits, coming late costs time in use out of tolerance: the mean cost a year
    is (visit + year_out * expected time out) / interval. However dear a visit is, the interval ends
    before the unit is probably out.
    """
    steps = max(2, round(_STEPS_A_YEAR * allowed.longest))
    grid = np.linspace(0.0, allowed.longest, steps + 1)[1:]
    width = grid[0]
    farthest = time_out(risk, start, PROBABLY_OUT, allowed.longest) - start
    best = np.full(start.shape, np.inf)
    years = np.minimum(farthest, allowed.longest)
    time_spent_out = np.zeros(start.shape)
    for after in grid:
        time_spent_out += width * risk(start + after - 0.5 * width)
        cost = (costs.visit + costs.year_out * time_spent_out) / after
        better = (cost < best) & (after >= allowed.shortest) & (after <= farthest)
        best, years = np.where(better, cost, best), np.where(better, after, years)
    return years
