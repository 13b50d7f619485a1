"""JCGM 106:2012, conformity assessment: examples of clauses 7, 8 and 9.5. Inputs from memory."""

from collections.abc import Iterator
from functools import partial

from ohmwright.published.checks import Check, Source
from ohmwright.uncertainty.conformity import (
    Limits,
    Measured,
    SpecificRisk,
    probability_of_conformity,
)
from ohmwright.uncertainty.distributions import normal_quantile
from ohmwright.uncertainty.risk import Risks, global_risks

# clause, measured value and u, limits, probability printed and exact
CONFORMITY = (
    ("7.3 diode, upper limit", Measured(-5.47, 0.05), Limits(upper=-5.40), 0.92, 0.91924334),
    ("7.3 container, lower limit", Measured(509.7, 8.6), Limits(lower=490.0), 0.99, 0.98900955),
    ("7.4 motor oil, two limits", Measured(13.6, 1.8), Limits(12.5, 16.3), 0.66, 0.66262979),
)

# table 1: probability of conformity, distance to the limit in u
TABLE_1 = {0.80: 0.84, 0.90: 1.28, 0.95: 1.64, 0.99: 2.33, 0.999: 3.09}

# 9.5, resistors of 1500 ohm +- 0.2: guard band in ohm, consumer's and producer's risk
GLOBAL = (
    (0.00, 0.018942207, 0.037207800),
    (0.04, 0.004334072, 0.114656578),
    (0.08, 0.000468634, 0.247669640),
    (-0.08, 0.069404610, 0.000680601),
)


def checks() -> Iterator[Check]:
    """Every check of JCGM 106."""
    for clause, measured, limits, printed, exact in CONFORMITY:
        compute = partial(probability_of_conformity, measured, limits)
        yield _check(clause, "probability of conformity", printed, 0.005, compute)
        yield _check(
            f"{clause}, unrounded", "probability of conformity", exact, 1e-8, compute, "reference"
        )
    for probability, distance in TABLE_1.items():
        what = f"z for {probability}"
        yield _check("7.3 table 1", what, distance, 0.006, partial(normal_quantile, probability))
    clause = "8.3 speed limit, 100 km/h, u = 2 %, 99.9 %"
    yield _check(clause, "speed to act from, km/h", 107, 0.5, _speed)
    yield _check(
        f"{clause}, unrounded", "speed to act from, km/h", 106.5876, 1e-4, _speed, "reference"
    )
    yield from _resistors()


_check = Source("JCGM 106:2012", "from memory")


def _speed() -> float:
    """Lowest speed at which the rule that needs 99.9 % is sure that the limit was exceeded."""
    rule = SpecificRisk(maximum_risk=0.001)
    low, high = 100.0, 200.0
    while high - low > 1e-9:
        speed = 0.5 * (low + high)
        verdict = rule.decide(Measured(speed, 0.02 * speed), Limits(lower=100.0)).verdict
        low, high = (low, speed) if verdict == "pass" else (speed, high)
    return high


def _resistors() -> Iterator[Check]:
    clause = "9.5 global risk, resistors"
    yield _check(
        clause,
        "share in tolerance",
        0.904419295,
        1e-9,
        lambda: float(_risks(0.0).conform),
        "reference",
    )
    for band, consumer, producer in GLOBAL:
        what = f"guard band {band:g} ohm"
        yield _check(
            clause,
            f"consumer's risk, {what}",
            consumer,
            1e-9,
            partial(_consumer_risk, band),
            "reference",
        )
        yield _check(
            clause,
            f"producer's risk, {what}",
            producer,
            1e-9,
            partial(_producer_risk, band),
            "reference",
        )


def _risks(band: float) -> Risks:
    acceptance = Limits(1499.8, 1500.2).moved_inwards(band)
    return global_risks(1499.8, 1500.2, acceptance.lower, acceptance.upper, 1500.0, 0.12, 0.04)


def _consumer_risk(band: float) -> float:
    return float(_risks(band).false_accept)


def _producer_risk(band: float) -> float:
    return float(_risks(band).false_reject)
