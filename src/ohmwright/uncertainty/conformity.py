"""Decision rules: from a measured value, its uncertainty and a tolerance to a verdict.

A verdict is pass, fail or undecided: undecided where the value is too near a limit for its
uncertainty. The rules have the names of JCGM 106, ILAC-G8 and Z540.3; `global_risk_rules` has those
that need the population.
"""

import math
from dataclasses import dataclass
from typing import Literal, Protocol

from ohmwright.uncertainty.inputs import t_cdf, t_quantile

RuleVerdict = Literal["pass", "fail", "undecided"]
_BISECTIONS = 50
"""As many as a float has digits."""
_NO_RISK = 1e-9
"""The far limit is left out where it adds no more than this share of the maximum risk."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits of a tolerance or of acceptance, ends included; infinite where there is none."""

    lower: float = -math.inf
    upper: float = math.inf

    def __post_init__(self) -> None:
        if math.isnan(self.lower) or math.isnan(self.upper):
            raise ValueError("a limit is a number; leave a one-sided tolerance's other limit out")

    def __contains__(self, value: float) -> bool:
        return self.lower <= value <= self.upper

    def moved_inwards(self, guard_band: float) -> "Limits":
        """Return the limits with `guard_band` taken off each finite end; negative widens them."""
        return Limits(self.lower + guard_band, self.upper - guard_band)

    @property
    def half_width(self) -> float:
        """Half the tolerance span; infinite for a one-sided tolerance."""
        return 0.5 * (self.upper - self.lower)


@dataclass(frozen=True, slots=True)
class MeasuredValue:
    """A measured value with standard uncertainty, coverage factor k and degrees of freedom."""

    value: float
    standard_uncertainty: float
    coverage_factor: float = 2.0
    dof: float = math.inf

    def __post_init__(self) -> None:
        if not 0.0 <= self.standard_uncertainty < math.inf or not self.coverage_factor > 0.0:
            raise ValueError(
                "a decision needs a finite standard uncertainty not below zero and a coverage "
                f"factor above zero; got {self.standard_uncertainty} and {self.coverage_factor}"
            )

    @property
    def expanded_uncertainty(self) -> float:
        """U = k u."""
        return self.coverage_factor * self.standard_uncertainty


@dataclass(frozen=True, slots=True)
class ConformityDecision:
    """A verdict, the rule in words, the acceptance limits, and the risk of the decision.

    `test_uncertainty_ratio` is nan for a one-sided tolerance, `false_accept` (global, a share of
    all instruments) is nan unless the rule knows the population.
    """

    verdict: RuleVerdict
    rule: str
    acceptance: Limits
    probability_of_conformity: float
    test_uncertainty_ratio: float
    false_accept: float = math.nan


class DecisionRule(Protocol):
    """A rule that decides on a measured value and a tolerance."""

    def decide(self, measured: MeasuredValue, tolerance: Limits) -> ConformityDecision:
        """Return the decision on one measured value."""
        ...


def probability_of_conformity(measured: MeasuredValue, tolerance: Limits) -> float:
    """Return the probability that the true value is in tolerance (JCGM 106 clause 7), 0 to 1.

    By Student's t where the degrees of freedom are finite. Without uncertainty it is 0 or 1.
    """
    u = measured.standard_uncertainty
    if u == 0.0:
        return 1.0 if measured.value in tolerance else 0.0
    lower = (tolerance.lower - measured.value) / u
    upper = (tolerance.upper - measured.value) / u
    # Both terms from the same tail, so that a small probability keeps its digits.
    if lower > 0.0:
        return t_cdf(-lower, measured.dof) - t_cdf(-upper, measured.dof)
    return t_cdf(upper, measured.dof) - t_cdf(lower, measured.dof)


def uncertainty_ratio(measured: MeasuredValue, tolerance: Limits) -> float:
    """Return the test uncertainty ratio, half width of the tolerance over U (Z540.3).

    nan for a one-sided tolerance, infinite for U = 0.
    """
    if math.isinf(tolerance.half_width):
        return math.nan
    expanded = measured.expanded_uncertainty
    return tolerance.half_width / expanded if expanded > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class SimpleAcceptanceRule:
    """Simple acceptance (JCGM 106 8.2, ILAC-G8 4.2.1): inside the tolerance passes, else fails."""

    def decide(self, measured: MeasuredValue, tolerance: Limits) -> ConformityDecision:
        """Return pass or fail, never undecided."""
        verdict: RuleVerdict = "pass" if measured.value in tolerance else "fail"
        return decision(verdict, "simple acceptance", tolerance, measured, tolerance)


@dataclass(frozen=True, slots=True)
class GuardBandRule:
    """Guard band w = multiple * U inside each limit (ILAC-G8 4.2.2); w = U unless said otherwise.

    Passes inside the acceptance limits, fails beyond the tolerance by more than w, and is
    undecided between. A multiple of 0 is simple acceptance.
    """

    multiple: float = 1.0

    def decide(self, measured: MeasuredValue, tolerance: Limits) -> ConformityDecision:
        """Return pass, fail, or undecided within w of a limit."""
        band = self.multiple * measured.expanded_uncertainty
        acceptance = tolerance.moved_inwards(band)
        rule = f"guard band w = {self.multiple:g} U"
        return decision(
            banded_verdict(measured, acceptance, tolerance, band),
            rule,
            acceptance,
            measured,
            tolerance,
        )


@dataclass(frozen=True, slots=True)
class SpecificRiskRule:
    """Specific risk (JCGM 106 8.3), of this very instrument.

    Passes where the probability of being out of tolerance is at most `maximum_risk`, fails where
    that of being in tolerance is, and is undecided between. The acceptance limits are where the
    verdict turns, by Student's t and with both tails; where nothing would pass they cross.
    """

    maximum_risk: float = 0.025

    def decide(self, measured: MeasuredValue, tolerance: Limits) -> ConformityDecision:
        """Return pass, fail or undecided by the probability of conformity."""
        conforming = probability_of_conformity(measured, tolerance)
        verdict: RuleVerdict = "undecided"
        if 1.0 - conforming <= self.maximum_risk:
            verdict = "pass"
        elif conforming <= self.maximum_risk:
            verdict = "fail"
        band = specific_risk_band(measured, tolerance, self.maximum_risk)
        rule = f"specific risk at most {100.0 * self.maximum_risk:g} %"
        return decision(verdict, rule, tolerance.moved_inwards(band), measured, tolerance)


def specific_risk_band(measured: MeasuredValue, tolerance: Limits, maximum_risk: float) -> float:
    """Return how far inside a limit a value has just `maximum_risk` of being out of tolerance.

    In the value's unit. Where no value in the tolerance has so small a risk, more than half the
    tolerance's width.
    """
    u, span = measured.standard_uncertainty, 2.0 * tolerance.half_width
    # the risk beyond the far limit only adds, so the band for the near one alone is the least
    least = -u * t_quantile(maximum_risk, measured.dof)
    if u == 0.0 or math.isinf(span):
        return least

    def risk(band: float) -> float:
        return t_cdf(-band / u, measured.dof) + t_cdf((band - span) / u, measured.dof)

    far = t_cdf((least - span) / u, measured.dof)
    if least >= 0.0 and far <= _NO_RISK * maximum_risk:
        return least
    if risk(0.5 * span) > maximum_risk:
        return -u * t_quantile(0.5 * maximum_risk, measured.dof)
    low, high = least, 0.5 * span
    for _ in range(_BISECTIONS):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if risk(middle) > maximum_risk else (low, middle)
    return high


@dataclass(frozen=True, slots=True)
class UncertaintyRatioRule:
    """Simple acceptance where the test uncertainty ratio is at least 4:1 (Z540.3 5.3 b).

    Below that ratio a value inside tolerance is undecided: the rule does not apply to it.
    """

    minimum: float = 4.0

    def decide(self, measured: MeasuredValue, tolerance: Limits) -> ConformityDecision:
        """Return fail, pass, or undecided where the ratio is too small or there is none."""
        ratio = uncertainty_ratio(measured, tolerance)
        verdict: RuleVerdict = "fail"
        if measured.value in tolerance:
            # A ratio of 4 by design must not fall short by the rounding of a division.
            verdict = "pass" if ratio >= self.minimum * (1.0 - 1e-12) else "undecided"
        rule = f"test uncertainty ratio at least {self.minimum:g}:1"
        return decision(verdict, rule, tolerance, measured, tolerance)


def banded_verdict(
    measured: MeasuredValue, acceptance: Limits, tolerance: Limits, band: float
) -> RuleVerdict:
    """Return pass in `acceptance`, fail outside `tolerance` widened by `band`, else undecided."""
    if measured.value in acceptance:
        return "pass"
    return "undecided" if measured.value in tolerance.moved_inwards(-band) else "fail"


def decision(
    verdict: RuleVerdict,
    rule: str,
    acceptance: Limits,
    measured: MeasuredValue,
    tolerance: Limits,
    false_accept: float = math.nan,
) -> ConformityDecision:
    """Return the decision with a verdict, which is undecided where the measured value is nan."""
    return ConformityDecision(
        # nan is in no interval, and no failure either.
        verdict="undecided" if math.isnan(measured.value) else verdict,
        rule=rule,
        acceptance=acceptance,
        probability_of_conformity=probability_of_conformity(measured, tolerance),
        test_uncertainty_ratio=uncertainty_ratio(measured, tolerance),
        false_accept=false_accept,
    )
