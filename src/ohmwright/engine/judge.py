"""From a value with its uncertainty to a verdict."""

from __future__ import annotations

from ohmwright.metrology.distributions import t_cdf
from ohmwright.model.result import Measured, Verdict
from ohmwright.model.tolerance import Target

CONFIDENCE = 0.975
"""Least probability of lying on the one side of each limit for pass or fail to be said."""


def acceptance_limits(target: Target) -> tuple[float, float]:
    """Lowest and highest value, in the unit of the target, that can be accepted."""
    return target.lower, target.upper


def judge(measured: Measured, target: Target) -> tuple[Verdict, str]:
    """Pass or fail where the reading's own uncertainty leaves little doubt, else undecided."""
    above_lower = _probability_above(measured, target.lower)
    above_upper = _probability_above(measured, target.upper)
    inside = above_lower - above_upper
    if inside >= CONFIDENCE:
        return "pass", ""
    if above_upper >= CONFIDENCE:
        return "fail", "above the upper limit"
    if above_lower <= 1 - CONFIDENCE:
        return "fail", "below the lower limit"
    return "undecided", "too close to a limit for the scatter of the readings"


def _probability_above(measured: Measured, limit: float) -> float:
    if measured.uncertainty <= 0:
        return 1.0 if measured.value >= limit else 0.0
    return t_cdf((measured.value - limit) / measured.uncertainty, measured.dof)
