"""JCGM 106:2012, conformity assessment: examples of clauses 7, 8 and 9.5. Inputs from memory."""

from collections.abc import Callable, Iterator
from functools import partial

import pytest
from scipy.stats import norm

from ohmwright.engine.judge import conformity, judge
from ohmwright.installation.check import Check, clause_checks
from ohmwright.model.decision import GlobalRisk, GuardBand, SimpleAcceptance, SpecificRisk
from ohmwright.model.result import BudgetEntry, Measured
from ohmwright.model.tolerance import Target
from ohmwright.uncertainty import conformity as rules

JCGM106 = "JCGM 106:2012"
# clause, measured value and u, limits, probability printed and exact
CONFORMITY = (
    ("7.3 diode, upper limit", (-5.47, 0.05), rules.Limits(upper=-5.40), 0.92, 0.91924334),
    ("7.3 container, lower limit", (509.7, 8.6), rules.Limits(lower=490.0), 0.99, 0.98900955),
    ("7.4 motor oil, two limits", (13.6, 1.8), rules.Limits(12.5, 16.3), 0.66, 0.66262979),
)
# table 1: probability of conformity, distance to the limit in u
TABLE_1 = {0.80: 0.84, 0.90: 1.28, 0.95: 1.64, 0.99: 2.33, 0.999: 3.09}
# 9.5, resistors of 1500 ohm +- 0.2, u0 = 0.12, u = 0.04: guard band in ohm, consumer's risk
RESISTORS = ((0.04, 0.004334072), (0.08, 0.000468634))
RESISTOR = Target(quantity="resistance_ohm", value=1500.0, lower=1499.8, upper=1500.2)


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for clause, measured, limits, printed, exact in CONFORMITY:
        compute = partial(probability, measured, limits)
        what = "probability of conformity"
        yield from clause_checks(JCGM106, clause, "from memory", (what, printed, 0.005, compute))
        yield from clause_checks(
            *(JCGM106, f"{clause}, unrounded", "reference"), (what, exact, 1e-8, compute)
        )
    for share, distance in TABLE_1.items():
        compute = partial(distance_to_limit, share)
        row = (f"distance in u for {share}", distance, 0.006, compute)
        yield from clause_checks(JCGM106, "7.3 table 1", "from memory", row)
    clause = "8.3 speed limit, 100 km/h, u = 2 %, 99.9 %"
    yield from clause_checks(
        *(JCGM106, clause, "from memory"), ("speed to act from, km/h", 107, 0.5, speed)
    )
    yield from clause_checks(
        *(JCGM106, f"{clause}, unrounded", "reference"),
        ("speed to act from, km/h", 106.5876, 1e-4, speed),
    )
    yield from clause_checks(
        *(JCGM106, "9.5 resistors, no guard band", "reference"),
        ("consumer's risk", 0.018942207, 1e-8, consumers_risk),
    )
    for band, risk in RESISTORS:
        what = f"acceptance limit for a consumer's risk of {risk}, ohm below the tolerance's"
        row = (what, band, 1e-6, partial(guard_band, risk))
        yield from clause_checks(JCGM106, "9.5 resistors", "reference", row)


def probability(measured: tuple[float, float], limits: rules.Limits) -> float:
    """By a guard band, which any rule's decision says the probability of."""
    decision = rules.GuardBandRule().decide(rules.MeasuredValue(*measured), limits)
    return decision.probability_of_conformity


def held(value: float, u: float) -> Measured:
    """A value whose readings leave no doubt; k = 2."""
    line = BudgetEntry(source="all", evaluation="B", standard_uncertainty=u)
    return Measured(
        value=value, uncertainty=u, dof=1e6, age_s=6, coverage_factor=2.0, budget=(line,)
    )


def distance_to_limit(share: float) -> float:
    """Of the acceptance limit that leaves this probability, in u = 0.01."""
    rule = SpecificRisk(rule="specific risk", maximum_risk_percent=100.0 * (1.0 - share))
    found = conformity(held(1500.0, 0.01), RESISTOR, rule)
    return (RESISTOR.upper - found.accept_to) / 0.01


def speed() -> float:
    """Lowest speed at which the rule that needs 99.9 % is sure that the limit was exceeded."""
    rule = SpecificRisk(rule="specific risk", maximum_risk_percent=0.1)
    beyond = Target(quantity="power_w", value=200.0, lower=100.0, upper=1e6)
    low, high = 100.0, 200.0
    while high - low > 1e-9:
        middle = 0.5 * (low + high)
        verdict, _ = judge(held(middle, 0.02 * middle), beyond, rule)
        low, high = (low, middle) if verdict == "pass" else (middle, high)
    return high


def known(maximum_risk: float) -> GlobalRisk:
    """Resistors of which 90.4 % are within 0.2 ohm, their spread being 0.12 ohm."""
    share = 2.0 * norm.cdf(0.2 / 0.12) - 1.0
    return GlobalRisk(
        rule="global risk",
        in_tolerance_percent=100.0 * share,
        maximum_risk_percent=100.0 * maximum_risk,
    )


def guard_band(maximum_risk: float) -> float:
    found = conformity(held(1500.0, 0.04), RESISTOR, known(maximum_risk))
    return RESISTOR.upper - found.accept_to


def consumers_risk() -> float:
    return conformity(held(1500.0, 0.04), RESISTOR, known(0.5)).false_accept


@pytest.mark.parametrize(
    ("value", "rule", "verdict"),
    [
        # 8.2: the measured value against the tolerance; 8.3.2: against limits drawn in by U
        (1500.19, SimpleAcceptance(), "pass"),
        (1500.21, SimpleAcceptance(), "fail"),
        (1500.11, GuardBand(rule="guard band"), "pass"),
        (1500.13, GuardBand(rule="guard band"), "undecided"),
        (1500.25, GuardBand(rule="guard band"), "undecided"),
        (1500.29, GuardBand(rule="guard band"), "fail"),
        # 7.3: 97.5 % lie within 1.96 u of a limit
        (1500.12, SpecificRisk(rule="specific risk"), "pass"),
        (1500.13, SpecificRisk(rule="specific risk"), "undecided"),
        (1500.27, SpecificRisk(rule="specific risk"), "undecided"),
        (1500.28, SpecificRisk(rule="specific risk"), "fail"),
    ],
)
def test_resistors_are_decided(value: float, rule: object, verdict: str) -> None:
    assert judge(held(value, 0.04), RESISTOR, rule)[0] == verdict
