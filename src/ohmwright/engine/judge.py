"""Verdicts: a value with its uncertainty is compared with its target by a decision rule.

What the rule would pass or fail is still undecided while the scatter of the readings leaves doubt
on which side of a limit the value lies. Rules with a guard band wider than that scatter are not
changed by this; simple acceptance and 4:1 are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import hypot, inf, isclose, isfinite, sqrt
from typing import Any

from ohmwright.estimation.activation_record import CONFIDENCE, is_in_vain
from ohmwright.model.decision import (
    Decision,
    FalseAccept,
    FourToOne,
    GlobalRisk,
    GuardBand,
    OwnRule,
    SimpleAcceptance,
    SpecificRisk,
)
from ohmwright.model.errors import UsageError
from ohmwright.model.result import Conformity, Measured, Verdict
from ohmwright.model.tolerance import Target
from ohmwright.uncertainty import conformity as rules
from ohmwright.uncertainty.global_risk_rules import GlobalRiskRule, ManagedRiskRule
from ohmwright.uncertainty.inputs import coverage_factor

from .measured_value import EXTRAPOLATED

DEFAULT_DECISION = SimpleAcceptance()
"""The rule of a step and procedure that name none."""
_MOSTLY = 0.8
"""Part of the readings' uncertainty from which on what was extrapolated is named as the cause."""
_NORMAL_K = coverage_factor()
"""Coverage factor of a normal distribution at 95 %."""


def judge(
    measured: Measured, target: Target, decision: Decision = DEFAULT_DECISION
) -> tuple[Verdict, str]:
    """Return verdict and reason; the reason of a pass is empty.

    Pass or fail needs both the rule and the readings' scatter to say so; else it is undecided.
    """
    outcome = _outcome(measured, target, decision)
    if outcome.verdict == "undecided":
        return "undecided", f"undecided by its rule: {outcome.rule}"
    limits, half_width = limits_of(target), scatter_half_width(measured)
    if outcome.verdict == "pass":
        if measured.value in limits.moved_inwards(half_width):
            return "pass", ""
    elif measured.value > limits.upper + half_width:
        return "fail", "above the upper limit"
    elif measured.value < limits.lower - half_width:
        return "fail", "below the lower limit"
    return "undecided", _why_too_close(measured)


def _why_too_close(measured: Measured) -> str:
    """Return why a value may be on either side of a limit, and what would help."""
    unseen = {line.source: line.standard_uncertainty for line in measured.budget}
    of_readings, _ = _readings_uncertainty(measured)
    if unseen.get(EXTRAPOLATED, 0.0) > _MOSTLY * of_readings:
        return (
            "too close to a limit: by what its readings cannot show (warmth left from before, "
            "droop and lag), the value may be on either side; a longer rest would help"
        )
    return (
        "too close to a limit: with this scatter of the readings, the value may be on either side"
    )


def is_final(measured: Measured, target: Target, decision: Decision = DEFAULT_DECISION) -> bool:
    """Return whether more readings could not change the verdict: pass, fail, or undecidable."""
    verdict, _ = judge(measured, target, decision)
    return verdict != "undecided" or stays_undecided(measured, target, decision)


def stays_undecided(
    measured: Measured, target: Target, decision: Decision = DEFAULT_DECISION
) -> bool:
    """Return whether the rule would be undecided however many readings were taken.

    True where it is undecided with the type B uncertainty alone, at the value and at both ends of
    the readings' scatter.
    """
    half_width = scatter_half_width(measured)
    type_b_uncertainty = sqrt(
        max(0.0, measured.uncertainty**2 - _readings_uncertainty(measured)[0] ** 2)
    )
    possible = (measured.value - half_width, measured.value, measured.value + half_width)
    rule, limits = rule_of(decision), limits_of(target)
    return all(
        rule.decide(rules.MeasuredValue(value, type_b_uncertainty, _NORMAL_K), limits).verdict
        == "undecided"
        for value in possible
    )


def stays_too_close(measured: Measured, target: Target) -> bool:
    """Return whether another value of the same point would hardly tell it from its limit."""
    limits, tolerance = limits_of(target), target.half_width or target.value / 20
    distance = min(abs(measured.value - limits.lower), abs(measured.value - limits.upper))
    return is_in_vain(distance / tolerance, _readings_uncertainty(measured)[0] / tolerance)


def conformity(
    measured: Measured | None, target: Target | None, decision: Decision = DEFAULT_DECISION
) -> Conformity | None:
    """Return for the record how a value was compared with its limits; None without either."""
    if measured is None or target is None:
        return None
    outcome = _outcome(measured, target, decision)
    return Conformity(
        rule=outcome.rule,
        probability=outcome.probability_of_conformity,
        uncertainty_ratio=_finite(outcome.test_uncertainty_ratio),
        accept_from=_finite(outcome.acceptance.lower),
        accept_to=_finite(outcome.acceptance.upper),
        false_accept=_finite(outcome.false_accept),
    )


def accepted_half_width(measured: Measured, target: Target, decision: Decision) -> float:
    """Return how far from the target a value with this uncertainty may lie and still pass.

    In the target's unit, for the narrower side. Where the rule would pass nothing, the half-width
    of the tolerance: a point adjusted to that ends undecided.
    """
    return room_to_pass(measured, target, decision) or target.half_width


def room_to_pass(measured: Measured, target: Target, decision: Decision) -> float:
    """Return how far from the target a value with this uncertainty may lie and pass; 0: nowhere.

    In the target's unit, for the narrower side; of an upper limit alone how far above zero.
    """
    outcome = _outcome(measured, target, decision)
    accepted = outcome.acceptance
    if target.one_sided:
        return max(0.0, accepted.upper)
    if outcome.verdict != "pass":  # not even on target
        return 0.0
    return max(0.0, min(accepted.upper - target.value, target.value - accepted.lower))


def limits_of(target: Target) -> rules.Limits:
    """Return the limits of `target`; one-sided targets have an upper limit only."""
    if target.one_sided:
        return rules.Limits(upper=target.upper)
    return rules.Limits(target.lower, target.upper)


def rule_of(decision: Decision) -> rules.DecisionRule:
    """Return the arithmetic of the decision rule that a procedure names."""
    match decision:
        case SimpleAcceptance():
            return rules.SimpleAcceptanceRule()
        case GuardBand():
            return rules.GuardBandRule(decision.multiple)
        case SpecificRisk():
            return rules.SpecificRiskRule(decision.maximum_risk_percent / 100)
        case GlobalRisk():
            risk = decision.maximum_risk_percent / 100
            return GlobalRiskRule(decision.in_tolerance_percent / 100, risk)
        case FalseAccept(in_tolerance_percent=None):
            return ManagedRiskRule()
        case FalseAccept():
            return GlobalRiskRule((decision.in_tolerance_percent or 0.0) / 100)
        case FourToOne():
            return rules.UncertaintyRatioRule()
        case OwnRule():
            own: object = decision.arithmetic()
            return _OwnArithmetic(decision.rule, own)


@dataclass(frozen=True)
class _OwnArithmetic:
    """What decides by a rule of another package, which may return anything."""

    name: str
    own: Any

    def decide(
        self, measured: rules.MeasuredValue, tolerance: rules.Limits
    ) -> rules.ConformityDecision:
        """Return its decision. Raises UsageError where it is none."""
        decide = getattr(self.own, "decide", None)
        if decide is None:
            raise _no_decision(self.name, f"its arithmetic() returns {self.own!r}")
        outcome = decide(measured, tolerance)
        if not isinstance(outcome, rules.ConformityDecision):
            raise _no_decision(self.name, f"its decide() returns {outcome!r}")
        return outcome


def _no_decision(rule: str, why: str) -> UsageError:
    return UsageError(
        f"The decision rule '{rule}' decides nothing: {why}.",
        do="See 'Add a decision rule' in DEVELOPERS.md: decide() returns a ConformityDecision.",
    )


def _finite(value: float) -> float | None:
    return value if isfinite(value) else None


def _outcome(measured: Measured, target: Target, decision: Decision) -> rules.ConformityDecision:
    factor = measured.coverage_factor
    seen = rules.MeasuredValue(
        measured.value,
        measured.uncertainty,
        coverage_factor(measured.dof) if factor is None else factor,
        measured.dof,
    )
    outcome = rule_of(decision).decide(seen, limits_of(target))
    return replace(outcome, rule=f"{outcome.rule}{_assumption(decision, target)}")


def _assumption(decision: Decision, target: Target) -> str:
    """Return what a rule on all units takes for granted of where they lie; empty for others."""
    centred = isclose(target.upper - target.value, target.value - target.lower, rel_tol=1e-6)
    if centred or not isinstance(decision, GlobalRisk | FalseAccept):
        return ""
    return "; units are taken to lie about the middle of the limits, which is not the target"


def scatter_half_width(measured: Measured) -> float:
    """Return the half-width of the interval that the readings' scatter allows for the value.

    In the value's unit; the value lies beyond each end with probability 1 - `CONFIDENCE`.
    """
    uncertainty, dof = _readings_uncertainty(measured)
    return uncertainty * coverage_factor(dof, 2 * CONFIDENCE - 1)


def _readings_uncertainty(measured: Measured) -> tuple[float, float]:
    """Return the standard uncertainty from the readings, and its degrees of freedom.

    That is their scatter, what was estimated from them, and what was extrapolated; without a budget
    the whole uncertainty.
    """
    if not measured.budget:
        return measured.uncertainty, measured.dof
    lines = [
        line for line in measured.budget if line.evaluation == "A" or line.source == EXTRAPOLATED
    ]
    freedom = (inf if line.dof is None else line.dof for line in lines)
    return hypot(*(line.standard_uncertainty for line in lines)), min(freedom, default=inf)
