"""A power with every line that a certificate can give it, and differences of two, held against GTC.

GTC (Measurement Standards Laboratory of New Zealand) propagates uncertain numbers by the GUM on its
own: here each error is one uncertain number, and the power and the difference are computed with
them. Effects of reactances and bandwidth are taken from complex impedances. No document prints the
values, so they are references, save the handbook's two samples.
"""

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import lru_cache, partial

from GTC import component, set_correlation, ureal
from GTC.lib import UncertainReal
from scipy import stats

from ohmwright.engine.difference import Difference, difference
from ohmwright.engine.influences import Conditions, stated_effects
from ohmwright.engine.measured_value import Accuracy, linear_measured_value
from ohmwright.estimation.settled_value import Settled, pooled
from ohmwright.installation.check import Check, clause_checks
from ohmwright.model.analyzer_certificate import (
    AnalyzerCertificate,
    CurrentRange,
    Drift,
    Influences,
    LoadAccuracy,
)
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import BudgetEntry, Measured
from ohmwright.model.step import Timing

LOAD_OHM, CARRIER_HZ, BANDWIDTH_HZ, WARMER_K = 300.0, 450e3, 8e6, 4.0
CORRELATION = 0.4
YEARS = 730 / 365.25
INFLUENCES = Influences(
    load_inductance_uh=6.0,
    stray_capacitance_pf=60.0,
    lead_inductance_uh=2.0,
    lead_capacitance_pf=40.0,
    crest_factor_percent=0.7,
    calibrated_at_c=23.0,
    current_percent_per_k=0.02,
    load_percent_per_k=0.01,
    reconnection_percent=0.15,
    reconnections=8,
)
CERTIFICATE = AnalyzerCertificate(
    number="7",
    laboratory="L",
    calibrated_on=date(2024, 3, 1),
    due_on=date(2025, 3, 1),
    current=(
        CurrentRange(up_to_ma=500, percent=0.3, resolution_ma=0.1, coverage_factor=2),
        CurrentRange(up_to_ma=2000, percent=0.6, floor_ma=2, resolution_ma=1.0, coverage_factor=2),
    ),
    load=LoadAccuracy(percent=0.5, coverage_factor=2),
    drift=Drift(current_percent_per_year=0.2, load_percent_per_year=0.1),
    influences=INFLUENCES,
    current_load_correlation=CORRELATION,
)
CONDITIONS = Conditions("cut", CARRIER_HZ, BANDWIDTH_HZ, 23.0 - WARMER_K)
ACCURACY = Accuracy(CERTIFICATE, date(2026, 3, 1), stated_effects(INFLUENCES, CONDITIONS, LOAD_OHM))


@dataclass(frozen=True)
class Reading:
    """A settled current in mA, and its own standard uncertainties."""

    current_ma: float
    scatter: float
    estimated: float
    extrapolation: float
    dating: float
    dof: float

    def settled(self) -> Settled:
        return Settled(
            self.current_ma,
            math.hypot(self.scatter, self.estimated, self.extrapolation, self.dating),
            self.dof,
            0.3,
            True,
            scatter=self.scatter,
            extrapolation=self.extrapolation,
            dating=self.dating,
        )


FIRST = Reading(812.4, 1.1, 0.9, 0.8, 0.5, 6.0)
SECOND = Reading(648.9, 0.7, 1.3, 0.4, 0.6, 9.0)


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from reactances()
    yield from powers()
    yield from differences()
    yield from two_samples()
    yield from pools()


# ---- reactances and bandwidth --------------------------------------------------------------

HENRY, FARAD, RADIANS = 1e-6, 1e-12, math.tau * CARRIER_HZ


def lost_in_series(inductance_uh: float) -> float:
    return 1.0 - abs(LOAD_OHM / complex(LOAD_OHM, RADIANS * inductance_uh * HENRY))


def lost_across(capacitance_pf: float) -> float:
    conductance = 1.0 / LOAD_OHM
    return 1.0 - abs(conductance / complex(conductance, RADIANS * capacitance_pf * FARAD))


LOSSES = {
    "load reactance": lost_in_series(6.0),
    "stray capacitance": lost_across(60.0),
    "lead inductance": lost_in_series(8.0) - lost_in_series(6.0),
    "lead capacitance": lost_across(100.0) - lost_across(60.0),
    "meter bandwidth": 1.0 - abs(1.0 / complex(1.0, CARRIER_HZ / BANDWIDTH_HZ)),
    "crest factor response": 0.007,
    "meter temperature": WARMER_K * 0.0002,
}
LOAD_WARMER = WARMER_K * 0.0001


def reactances() -> Iterator[Check]:
    for name, expected in LOSSES.items():
        yield from clause_checks(
            *("complex impedances", f"450 kHz into 300 ohm, {name}", "reference"),
            ("share of the current", expected, 1e-6 * expected, partial(effect, name)),
        )
    yield from clause_checks(
        *("first-order low-pass", "textbook figures", "from memory"),
        ("read at the 3 dB frequency", 0.7071, 1e-4, lambda: read_at(1.0)),
        ("read low at a tenth of it, %", 0.5, 0.005, lambda: 100.0 * (1.0 - read_at(0.1))),
    )


def effect(name: str) -> float:
    return next(one.limit for one in ACCURACY.effects.on_current if one.name == name)


def read_at(ratio: float) -> float:
    at = Conditions("cut", ratio * BANDWIDTH_HZ, BANDWIDTH_HZ)
    (only,) = stated_effects(Influences(), at, LOAD_OHM).on_current
    return 1.0 - only.limit


# ---- powers --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Errors:
    """Errors of one analyzer in units of their standard uncertainties: the same in all values."""

    meter: UncertainReal
    load: UncertainReal
    shares: tuple[UncertainReal, ...]
    """Of drift and effects on the current."""
    load_shares: tuple[UncertainReal, ...]


CURRENT_SHARES = (YEARS * 0.002, *LOSSES.values())
LOAD_SHARES = (YEARS * 0.001, LOAD_WARMER)


@lru_cache(maxsize=1)
def errors() -> Errors:
    meter, load = ureal(0.0, 1.0, independent=False), ureal(0.0, 1.0, independent=False)
    set_correlation(CORRELATION, meter, load)
    return Errors(
        meter,
        load,
        tuple(ureal(0.0, share / math.sqrt(3.0)) for share in CURRENT_SHARES),
        tuple(ureal(0.0, share / math.sqrt(3.0)) for share in LOAD_SHARES),
    )


def uncertain_current(reading: Reading) -> UncertainReal:
    """In mA, with errors of its own and those of the analyzer.

    Scatter and what was estimated of lag and droop come of one estimate of the noise, whose dof
    count once (GUM G.4.1): one uncertain number.
    """
    known, size = errors(), reading.current_ma
    return (
        ureal(size, math.hypot(reading.scatter, reading.estimated), reading.dof)
        + ureal(0.0, reading.extrapolation)
        + ureal(0.0, reading.dating)
        + ureal(0.0, size * 0.0015, 7)
        + (size * 0.006 + 2.0) / 2.0 * known.meter
        + size * sum(known.shares)
    )


def uncertain_power(reading: Reading) -> UncertainReal:
    known = errors()
    resistance = LOAD_OHM * (1.0 + 0.0025 * known.load + sum(known.load_shares))
    return (uncertain_current(reading) / 1000.0) ** 2 * resistance


def stated(reading: Reading, quantity: Quantity) -> Measured:
    return linear_measured_value(reading.settled(), quantity, LOAD_OHM, Timing(), ACCURACY)


UNCERTAIN: dict[Quantity, Callable[[Reading], UncertainReal]] = {
    "current_ma": uncertain_current,
    "power_w": uncertain_power,
}


def lines(
    name: str, expected: UncertainReal, got: Callable[[], Measured | Difference]
) -> Iterator[tuple[str, float, float, Callable[[], float | None]]]:
    """The checks of a value, by its name, of its standard uncertainty and degrees of freedom."""
    yield name, expected.x, 1e-9 * expected.x, lambda: got().value
    yield "u", expected.u, 1e-9 * expected.u, lambda: got().uncertainty
    yield "effective degrees of freedom", expected.df, 1e-9 * expected.df, lambda: got().dof


def powers() -> Iterator[Check]:
    for quantity, of in UNCERTAIN.items():
        expected, got = of(FIRST), partial(stated, FIRST, quantity)
        expanded = expected.u * float(stats.t.ppf(0.975, expected.df))
        yield from clause_checks(
            *("GTC", f"every line of a certificate, {quantity}", "reference"),
            *lines("value", expected, got),
            ("U95", expanded, 1e-6 * expanded, lambda got=got: got().expanded),
        )


# ---- differences ---------------------------------------------------------------------------


def differences() -> Iterator[Check]:
    for quantity, of in UNCERTAIN.items():
        expected, got = of(FIRST) - of(SECOND), partial(apart, quantity)
        yield from clause_checks(
            *("GTC", f"two values by one analyzer, {quantity}", "reference"),
            *lines("difference", expected, got),
        )


def apart(quantity: Quantity) -> Difference:
    return difference(stated(FIRST, quantity), stated(SECOND, quantity))


def two_samples() -> Iterator[Check]:
    """Miles per gallon of 249 and 79 cars; the handbook's test of unequal variances."""
    yield from clause_checks(
        *("NIST/SEMATECH e-Handbook", "1.3.5.3 two-sample t test, AUTO83B", "from memory"),
        ("t", -12.94627, 2e-5, lambda: cars().value / cars().uncertainty),
        ("degrees of freedom", 136.8750, 2e-4, lambda: cars().dof),
        (
            "half width of 95 %",
            float(stats.t.ppf(0.975, 136.8750)) * 10.33643 / 12.94627,
            1e-5,
            lambda: cars().expanded(),
        ),
    )


def cars() -> Difference:
    return difference(mean_of(20.14458, 6.414700, 249), mean_of(30.48101, 6.107710, 79))


def mean_of(mean: float, sd: float, count: int) -> Measured:
    u = sd / math.sqrt(count)
    line = BudgetEntry(source="readings", evaluation="A", standard_uncertainty=u, dof=count - 1.0)
    return Measured(value=mean, uncertainty=u, dof=count - 1.0, age_s=6.0, budget=(line,))


# ---- the mean of two activations -----------------------------------------------------------

ONE, OTHER = (
    Settled(500.4, 1.5, 7.0, 0.3, True, scatter=0.9, extrapolation=0.8, dating=0.5),
    Settled(501.0, 1.1, 11.0, 0.4, True, scatter=0.7, extrapolation=0.6, dating=0.2),
)


def pools() -> Iterator[Check]:
    """Extrapolation is one error of both activations, all else an error of each."""
    common = ureal(0.0, 1.0)
    each = [
        ureal(s.value, math.sqrt(s.uncertainty**2 - s.extrapolation**2)) + s.extrapolation * common
        for s in (ONE, OTHER)
    ]
    precision = [1.0 / s.uncertainty**2 for s in (ONE, OTHER)]
    shares = [one / sum(precision) for one in precision]
    mean = shares[0] * each[0] + shares[1] * each[1]

    def alone(first: float, second: float) -> float:
        return float((shares[0] * ureal(0.0, first) + shares[1] * ureal(0.0, second)).u)

    yield from clause_checks(
        *("GTC", "weighted mean of two with one error in common", "reference"),
        ("value", mean.x, 1e-9, lambda: pooled(ONE, OTHER).value),
        ("u", mean.u, 1e-9, lambda: pooled(ONE, OTHER).uncertainty),
        ("u by scatter", alone(0.9, 0.7), 1e-9, lambda: pooled(ONE, OTHER).scatter),
        ("u by dating", alone(0.5, 0.2), 1e-9, lambda: pooled(ONE, OTHER).dating),
        (
            "u in common",
            abs(float(component(mean, common))),
            1e-9,
            lambda: pooled(ONE, OTHER).extrapolation,
        ),
    )
