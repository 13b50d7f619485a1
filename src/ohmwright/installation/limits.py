"""Checks of tolerances as procedures state them, and of the limit of HF leakage.

The limit of IEC 60601-2-2 is from memory, unverified: check it against the edition that applies.
"""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.engine.judge import accepted_half_width, judge
from ohmwright.engine.steps.leakage import LeakageStep
from ohmwright.engine.steps.output import OutputStep
from ohmwright.model.decision import GuardBand
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.model.step import Point
from ohmwright.model.tolerance import Allowance, Target, TwoSided

from .check import Check, clause_checks

_PERCENT = Allowance(percent=20)
_LARGER = Allowance(percent=2, absolute_w=5)
_SIDES = TwoSided(lower=Allowance(percent=10), upper=Allowance(percent=5))


def checks() -> Iterator[Check]:
    """Yield checks of limits, in the unit of the target (leakage: mA), and of leakage verdicts."""
    yield from clause_checks(
        *("exact arithmetic", "tolerances of a point of 150 W", "reference"),
        ("+-20 %: upper limit, W", 180.0, 1e-9, lambda: _target(_PERCENT).upper),
        ("+-2 % or 5 W, the larger: lower limit, W", 145.0, 1e-9, lambda: _target(_LARGER).lower),
        ("-10 %, +5 %: narrower side, W", 7.5, 1e-9, lambda: _target(_SIDES).half_width),
        ("-10 %, +5 %: less a guard band of 2 W", 5.5, 1e-9, _narrower_side_left),
    )
    yield from clause_checks(
        *("IEC 60601-2-2 (unverified)", "HF leakage into 200 ohm", "from memory"),
        ("limit at 1 % of 450 W, mA", 150.0, 1e-9, lambda: _leakage(450.0).target.upper),
    )
    yield from clause_checks(
        *("exact arithmetic", "HF leakage against that limit", "reference"),
        ("149 mA", "pass", 0, lambda: _leakage_verdict(149.0)),
        ("151 mA", "fail", 0, lambda: _leakage_verdict(151.0)),
    )


def _target(tolerance: Allowance | TwoSided) -> Target:
    step = OutputStep(
        kind="output",
        name="check",
        mode="cut",
        setting_w=150,
        load_ohm=300,
        power_w=150,
        tolerance=tolerance,
    )
    return step.points()[0].target


def _leakage(rated_power_w: float) -> Point:
    step = LeakageStep(
        kind="leakage", name="check", mode="cut", setting_w=50, rated_power_w=rated_power_w
    )
    return step.points()[0]


def _measured(value: float) -> Measured:
    """Return a value with U = 2, k = 2, without scatter of the readings."""
    return Measured(
        value=value,
        uncertainty=1.0,
        dof=AMPLE_DOF,
        age_s=6.0,
        expanded=2.0,
        coverage_factor=2.0,
        budget=(BudgetEntry(source="check", evaluation="B", standard_uncertainty=1.0),),
    )


def _leakage_verdict(current_ma: float) -> str:
    point = _leakage(450.0)
    return judge(_measured(current_ma), point.target, point.decision)[0]


def _narrower_side_left() -> float:
    rule = GuardBand(rule="guard band")
    return accepted_half_width(_measured(150.0), _target(_SIDES), rule)
