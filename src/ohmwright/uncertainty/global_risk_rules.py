"""Decision rules that limit the share of false accepts over all instruments.

Both need a two-sided tolerance. They draw the acceptance limits inside it, pass within them, fail
outside the tolerance, and are undecided between.
"""

import math
from dataclasses import dataclass

from ohmwright.uncertainty import risk
from ohmwright.uncertainty.conformity import (
    ConformityDecision,
    Limits,
    MeasuredValue,
    banded_verdict,
    decision,
    uncertainty_ratio,
)


@dataclass(frozen=True, slots=True)
class GlobalRiskRule:
    """Global risk (JCGM 106 9; Z540.3 5.3 b with 2 %): false accepts over all instruments.

    `in_tolerance`: the share of instruments truly in tolerance as received, normally distributed
    about the middle of the tolerance. `maximum_risk`: largest share of false accepts.
    """

    in_tolerance: float
    maximum_risk: float = 0.02

    def decide(self, measured: MeasuredValue, tolerance: Limits) -> ConformityDecision:
        """Return pass, fail or undecided. Raises ValueError for a one-sided tolerance."""
        ratio = uncertainty_ratio(measured, tolerance)
        if math.isnan(ratio):
            raise ValueError(
                "a global risk about the middle of the tolerance needs two limits; use a guard "
                "band or a specific risk for a one-sided tolerance"
            )
        terms = (self.in_tolerance, ratio)
        factor = measured.coverage_factor
        multiplier, false_accept = 1.0, 0.0
        if math.isfinite(ratio):
            multiplier = risk.acceptance_multiplier(*terms, self.maximum_risk, factor)
            false_accept = float(risk.false_accept(*terms, multiplier, factor))
        acceptance = tolerance.moved_inwards((1.0 - multiplier) * tolerance.half_width)
        rule = (
            f"global risk: false accepts at most {100.0 * self.maximum_risk:g} % with "
            f"{100.0 * self.in_tolerance:g} % in tolerance as received"
        )
        verdict = banded_verdict(measured, acceptance, tolerance, 0.0)
        return decision(verdict, rule, acceptance, measured, tolerance, false_accept)


@dataclass(frozen=True, slots=True)
class ManagedRiskRule:
    """At most 2 % false accepts whatever share is in tolerance as received (Z540.3 5.3 b).

    For a population of which nothing is known: the acceptance limits are the tolerance limits times
    the managed-risk multiplier (from memory). Below a test uncertainty ratio of about 0.6 nothing
    passes.
    """

    def decide(self, measured: MeasuredValue, tolerance: Limits) -> ConformityDecision:
        """Return pass, fail or undecided. Raises ValueError for a one-sided tolerance."""
        ratio = uncertainty_ratio(measured, tolerance)
        if math.isnan(ratio):
            raise ValueError(
                "a rule on the width of the tolerance needs two limits; use a guard band or a "
                "specific risk for a one-sided tolerance"
            )
        multiplier = 1.0 if math.isinf(ratio) else min(1.0, risk.managed_risk_multiplier(ratio))
        acceptance = tolerance.moved_inwards((1.0 - multiplier) * tolerance.half_width)
        verdict = banded_verdict(measured, acceptance, tolerance, 0.0)
        rule = "false accepts at most 2 % whatever share is in tolerance as received"
        return decision(verdict, rule, acceptance, measured, tolerance)
