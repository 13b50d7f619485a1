"""Is it in tolerance? Decision rules by the names the standards give them.

A verdict is pass, fail or undecided. Undecided is what a rule says of a value too near a limit for
its uncertainty; it is never rounded to a pass.
"""

import math
from dataclasses import dataclass
from typing import Literal, Protocol

from ohmwright.uncertainty import risk
from ohmwright.uncertainty.distributions import normal_quantile, t_cdf

Verdict = Literal["pass", "fail", "undecided"]


@dataclass(frozen=True, slots=True)
class Limits:
    """Two limits, or one with the other infinite; the ends themselves are inside."""

    lower: float = -math.inf
    upper: float = math.inf

    def __post_init__(self) -> None:
        if math.isnan(self.lower) or math.isnan(self.upper):
            raise ValueError("a limit is a number; leave a one-sided tolerance's other limit out")

    def __contains__(self, value: float) -> bool:
        return self.lower <= value <= self.upper

    def moved_inwards(self, guard_band: float) -> "Limits":
        """Limits with a guard band taken off each finite end; a negative one widens them."""
        return Limits(self.lower + guard_band, self.upper - guard_band)

    @property
    def half_width(self) -> float:
        """Half the tolerance span; infinite for a one-sided tolerance."""
        return 0.5 * (self.upper - self.lower)


@dataclass(frozen=True, slots=True)
class Measured:
    """A measured value with its standard uncertainty, and the k and dof that go with it."""

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
class Decision:
    """A verdict, the rule in words, the acceptance limits used, and what is known of the risk.

    `test_uncertainty_ratio` is nan for a one-sided tolerance, `false_accept` (global, a share of
    all instruments) is nan unless the rule knows the population.
    """

    verdict: Verdict
    rule: str
    acceptance: Limits
    probability_of_conformity: float
    test_uncertainty_ratio: float
    false_accept: float = math.nan


class DecisionRule(Protocol):
    """What turns a measured value and a tolerance into a decision."""

    def decide(self, measured: Measured, tolerance: Limits) -> Decision:
        """The decision on one measured value."""
        ...


def probability_of_conformity(measured: Measured, tolerance: Limits) -> float:
    """Probability that the true value lies within tolerance (JCGM 106 clause 7), 0 to 1.

    By Student's t where the degrees of freedom are finite. Without uncertainty it is 0 or 1.
    """
    u = measured.standard_uncertainty
    if u == 0.0:
        return 1.0 if measured.value in tolerance else 0.0
    above = (tolerance.lower - measured.value) / u
    below = (tolerance.upper - measured.value) / u
    # Both terms from the same tail, so that a small probability keeps its digits.
    if above > 0.0:
        return t_cdf(-above, measured.dof) - t_cdf(-below, measured.dof)
    return t_cdf(below, measured.dof) - t_cdf(above, measured.dof)


def uncertainty_ratio(measured: Measured, tolerance: Limits) -> float:
    """Tolerance span over 2 U (Z540.3); nan for a one-sided tolerance, which has no span."""
    if math.isinf(tolerance.half_width):
        return math.nan
    expanded = measured.expanded_uncertainty
    return tolerance.half_width / expanded if expanded > 0.0 else math.inf


@dataclass(frozen=True, slots=True)
class SimpleAcceptance:
    """Simple acceptance (JCGM 106 8.2, ILAC-G8 4.2.1): inside the tolerance passes, else fails."""

    def decide(self, measured: Measured, tolerance: Limits) -> Decision:
        """Pass or fail; never undecided."""
        verdict: Verdict = "pass" if measured.value in tolerance else "fail"
        return _decision(verdict, "simple acceptance", tolerance, measured, tolerance)


@dataclass(frozen=True, slots=True)
class GuardBand:
    """Guard band w = multiple * U inside each limit (ILAC-G8 4.2.2); w = U unless said otherwise.

    Passes inside the acceptance limits, fails beyond the tolerance by more than w, and is
    undecided between. A multiple of 0 is simple acceptance.
    """

    multiple: float = 1.0

    def decide(self, measured: Measured, tolerance: Limits) -> Decision:
        """Pass, fail, or undecided within w of a limit."""
        band = self.multiple * measured.expanded_uncertainty
        acceptance = tolerance.moved_inwards(band)
        rule = f"guard band w = {self.multiple:g} U"
        return _decision(
            _banded(measured, acceptance, tolerance, band), rule, acceptance, measured, tolerance
        )


@dataclass(frozen=True, slots=True)
class SpecificRisk:
    """Specific risk (JCGM 106 8.3): passes where the risk that this item is bad is small enough.

    Fails where the risk that it is good is as small, and is undecided between. The acceptance
    limits shown are those of one limit alone.
    """

    maximum_risk: float = 0.025

    def decide(self, measured: Measured, tolerance: Limits) -> Decision:
        """Pass, fail or undecided by the probability of conformity."""
        conforming = probability_of_conformity(measured, tolerance)
        verdict: Verdict = "undecided"
        if 1.0 - conforming <= self.maximum_risk:
            verdict = "pass"
        elif conforming <= self.maximum_risk:
            verdict = "fail"
        band = -normal_quantile(self.maximum_risk) * measured.standard_uncertainty
        rule = f"specific risk at most {100.0 * self.maximum_risk:g} %"
        return _decision(verdict, rule, tolerance.moved_inwards(band), measured, tolerance)


@dataclass(frozen=True, slots=True)
class GlobalRisk:
    """Global risk (JCGM 106 9; Z540.3 5.3 b with 2 %): false accepts over all instruments.

    `in_tolerance` is the share of instruments truly in tolerance as received, spread about the
    middle of a two-sided tolerance. The acceptance limits are drawn in as far as `maximum_risk`
    needs. Passes inside them, fails outside the tolerance, undecided between.
    """

    in_tolerance: float
    maximum_risk: float = 0.02

    def decide(self, measured: Measured, tolerance: Limits) -> Decision:
        """Pass, fail or undecided; raises ValueError for a one-sided tolerance."""
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
        verdict = _banded(measured, acceptance, tolerance, 0.0)
        return _decision(verdict, rule, acceptance, measured, tolerance, false_accept)


@dataclass(frozen=True, slots=True)
class ManagedRisk:
    """At most 2 % false accepts whatever share is in tolerance as received (Z540.3 5.3 b).

    For a population of which nothing is known: the acceptance limits are drawn in to Dobbert's
    multiplier of the tolerance (from memory). Passes inside them, fails outside the tolerance,
    undecided between; below a ratio of about 0.6 nothing passes.
    """

    def decide(self, measured: Measured, tolerance: Limits) -> Decision:
        """Pass, fail or undecided; raises ValueError for a one-sided tolerance."""
        ratio = uncertainty_ratio(measured, tolerance)
        if math.isnan(ratio):
            raise ValueError(
                "a rule on the width of the tolerance needs two limits; use a guard band or a "
                "specific risk for a one-sided tolerance"
            )
        multiplier = 1.0 if math.isinf(ratio) else min(1.0, risk.dobbert_multiplier(ratio))
        acceptance = tolerance.moved_inwards((1.0 - multiplier) * tolerance.half_width)
        verdict = _banded(measured, acceptance, tolerance, 0.0)
        rule = "false accepts at most 2 % whatever share is in tolerance as received"
        return _decision(verdict, rule, acceptance, measured, tolerance)


@dataclass(frozen=True, slots=True)
class UncertaintyRatio:
    """Simple acceptance where the test uncertainty ratio is at least 4:1 (Z540.3 5.3 b).

    Below that ratio a value inside tolerance is undecided: the rule does not apply to it.
    """

    minimum: float = 4.0

    def decide(self, measured: Measured, tolerance: Limits) -> Decision:
        """Pass, fail, or undecided where the ratio is too small (or there is none)."""
        ratio = uncertainty_ratio(measured, tolerance)
        verdict: Verdict = "fail"
        if measured.value in tolerance:
            # A ratio of 4 by design must not fall short by the rounding of a division.
            verdict = "pass" if ratio >= self.minimum * (1.0 - 1e-12) else "undecided"
        rule = f"test uncertainty ratio at least {self.minimum:g}:1"
        return _decision(verdict, rule, tolerance, measured, tolerance)


def _banded(measured: Measured, acceptance: Limits, tolerance: Limits, band: float) -> Verdict:
    if measured.value in acceptance:
        return "pass"
    return "undecided" if measured.value in tolerance.moved_inwards(-band) else "fail"


def _decision(
    verdict: Verdict,
    rule: str,
    acceptance: Limits,
    measured: Measured,
    tolerance: Limits,
    false_accept: float = math.nan,
) -> Decision:
    return Decision(
        # nan is in no interval, and no failure either.
        verdict="undecided" if math.isnan(measured.value) else verdict,
        rule=rule,
        acceptance=acceptance,
        probability_of_conformity=probability_of_conformity(measured, tolerance),
        test_uncertainty_ratio=uncertainty_ratio(measured, tolerance),
        false_accept=false_accept,
    )
