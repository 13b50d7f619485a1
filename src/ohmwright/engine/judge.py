"""From a value with its uncertainty to a verdict, by the decision rule of its step.

The rule speaks first. What it would pass or fail is still undecided while the scatter of the
readings leaves doubt on which side of the tolerance the value lies: rules with a guard band of
their own wider than that scatter are not touched by this, simple acceptance and 4:1 are.
"""

from __future__ import annotations

from math import hypot, inf, isfinite, sqrt

from ohmwright.model.decision import (
    Decision,
    FalseAccept,
    FourToOne,
    GlobalRisk,
    GuardBand,
    SimpleAcceptance,
    SpecificRisk,
)
from ohmwright.model.result import Conformity, Measured, Verdict
from ohmwright.model.tolerance import Target
from ohmwright.uncertainty import conformity as rules
from ohmwright.uncertainty.distributions import coverage_factor
from ohmwright.uncertainty.global_risk_rules import GlobalRiskRule, ManagedRiskRule

SIMPLE = SimpleAcceptance()
CONFIDENCE = 0.975
"""Least probability, by the readings' scatter, of the side of a limit for a verdict to be said."""
_NORMAL_K = coverage_factor()


def judge(measured: Measured, target: Target, decision: Decision = SIMPLE) -> tuple[Verdict, str]:
    """Pass or fail where the rule and the scatter of the readings leave no doubt, else undecided.

    The second is the reason, empty for a pass.
    """
    outcome = _outcome(measured, target, decision)
    if outcome.verdict == "undecided":
        return "undecided", f"undecided by its rule: {outcome.rule}"
    limits, reach = limits_of(target), scatter(measured)
    if outcome.verdict == "pass":
        if measured.value in limits.moved_inwards(reach):
            return "pass", ""
    elif measured.value > limits.upper + reach:
        return "fail", "above the upper limit"
    elif measured.value < limits.lower - reach:
        return "fail", "below the lower limit"
    return "undecided", "too close to a limit for the scatter of the readings"


def is_final(measured: Measured, target: Target, decision: Decision = SIMPLE) -> bool:
    """Whether a value passes or fails, or stays undecided however long the output is watched."""
    verdict, _ = judge(measured, target, decision)
    return verdict != "undecided" or readings_cannot_help(measured, target, decision)


def readings_cannot_help(measured: Measured, target: Target, decision: Decision = SIMPLE) -> bool:
    """Whether the rule stays undecided however long the output is watched.

    So it is where it would be, without any scatter, everywhere that the scatter still reaches.
    """
    reach = scatter(measured)
    lasting = sqrt(max(0.0, measured.uncertainty**2 - _readings(measured)[0] ** 2))
    reached = (measured.value - reach, measured.value, measured.value + reach)
    rule, limits = rule_of(decision), limits_of(target)
    return all(
        rule.decide(rules.MeasuredValue(value, lasting, _NORMAL_K), limits).verdict == "undecided"
        for value in reached
    )


def conformity(
    measured: Measured | None, target: Target | None, decision: Decision = SIMPLE
) -> Conformity | None:
    """How a value was held against its limits, for the record; None where either is missing."""
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
    """How far from the target a value with this uncertainty may lie and pass, to the nearer side.

    Where the rule would pass nothing, the tolerance's own: what is adjusted then ends undecided.
    """
    accepted = _outcome(measured, target, decision).acceptance
    nearer = min(accepted.upper - target.value, target.value - accepted.lower)
    return nearer if nearer > 0 else target.half_width


def limits_of(target: Target) -> rules.Limits:
    """The tolerance as decision rules see it: a quantity without a sign has an upper limit only."""
    if target.one_sided:
        return rules.Limits(upper=target.upper)
    return rules.Limits(target.lower, target.upper)


def rule_of(decision: Decision) -> rules.DecisionRule:
    """The arithmetic behind a rule named in a procedure."""
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
    return rule_of(decision).decide(seen, limits_of(target))


def scatter(measured: Measured) -> float:
    """How far the readings' own scatter reaches, at `CONFIDENCE` to each side."""
    uncertainty, dof = _readings(measured)
    return uncertainty * coverage_factor(dof, 2 * CONFIDENCE - 1)


def _readings(measured: Measured) -> tuple[float, float]:
    """Type A standard uncertainty and its degrees of freedom; without a budget it is all."""
    if not measured.budget:
        return measured.uncertainty, measured.dof
    lines = [line for line in measured.budget if line.evaluation == "A"]
    freedom = (inf if line.dof is None else line.dof for line in lines)
    return hypot(*(line.standard_uncertainty for line in lines)), min(freedom, default=inf)
