"""JCGM 100:2008 (the GUM): examples H.1, H.2 and H.5, table G.2, clause G.4.1.

Each enters `combine`, `second_order_variance`, `from_readings` or `Budget.expanded`, which the
budget of a point and the mean of captured waveforms go through; the derivatives of the examples'
models are worked out by hand, as those of a point are.
"""

import math
from collections.abc import Callable, Iterator
from functools import lru_cache, partial

import numpy as np

from ohmwright.engine.difference import covariance, difference
from ohmwright.installation.check import Check, clause_checks
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.uncertainty.budget import Budget, combine, second_order_variance
from ohmwright.uncertainty.inputs import Input, from_readings

GUM = "GUM (JCGM 100:2008)"

# degrees of freedom: t for coverage 95 and 99 %
TABLE_G2 = {
    1: (12.71, 63.66),
    2: (4.30, 9.92),
    3: (3.18, 5.84),
    4: (2.78, 4.60),
    5: (2.57, 4.03),
    10: (2.23, 3.17),
    20: (2.09, 2.85),
    50: (2.01, 2.68),
    math.inf: (1.960, 2.576),
}

DAY_MEANS_UV = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)  # above 10 V

VOLTAGE_V = (5.007, 4.994, 5.005, 4.990, 4.999)
CURRENT_A = (19.663e-3, 19.639e-3, 19.640e-3, 19.685e-3, 19.678e-3)
PHASE_RAD = (1.0456, 1.0438, 1.0468, 1.0428, 1.0433)
# result: value and u from means with correlations, and from the mean of five results; as printed
H2_RESULTS = {
    "R": (127.732169928, 0.0710714074, 127.731630483, 0.0712735432, 127.732, 0.071),
    "X": (219.846511913, 0.2955816774, 219.846894603, 0.2954890856, 219.847, 0.295),
    "Z": (254.259701948, 0.2363361301, 254.260049587, 0.2362475017, 254.260, 0.236),
}
H2_WITHOUT_CORRELATION = {"R": 0.194544, "X": 0.200909, "Z": 0.204076}


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from end_gauge()
    yield from ten_resistors()
    yield from second_order_moments()
    yield from impedance()
    yield from welch_satterthwaite()
    yield from clause_checks(
        *(GUM, "H.5 voltage standard", "published"),
        (
            "mean of ten days, uV above 10 V",
            97,
            0.5,
            lambda: from_readings("V", DAY_MEANS_UV).value,
        ),
    )
    for dof, row in TABLE_G2.items():
        for coverage, expected in zip((0.95, 0.99), row, strict=True):
            what = f"t for {dof:g} degrees of freedom, {100 * coverage:g} %"
            t = partial(coverage_factor, dof, coverage)
            yield from clause_checks(GUM, "table G.2", "from memory", (what, expected, 0.0051, t))


def coverage_factor(dof: float, coverage: float) -> float:
    return combine(0.0, [Input("x", 0.0, 1.0, dof)], [1.0]).expanded(coverage).coverage_factor


# H.1, end gauge: l = ls + d - ls (da theta + as dt), in nm.
LENGTH_NM, THETA_K, EXPANSION_PER_K = 50_000_623.0, -0.1, 11.5e-6
H1_INPUTS = (
    Input("ls", LENGTH_NM, 25.0, 18),
    Input("d, repeated", 215.0, 5.8, 24),
    Input("d, comparator, random", 0.0, 3.9, 5),
    Input("d, comparator, systematic", 0.0, 6.7, 8),
    Input("as", EXPANSION_PER_K, 2e-6 / math.sqrt(3.0), distribution="rectangular"),
    Input("theta", THETA_K, math.hypot(0.2, 0.5 / math.sqrt(2.0))),
    Input("da", 0.0, 1e-6 / math.sqrt(3.0), 50, "rectangular"),
    Input("dt", 0.0, 0.05 / math.sqrt(3.0), 2, "rectangular"),
)


def gauge_length(*quantities: float) -> float:
    standard, repeated, drawn, systematic, expansion, theta, expansion_gap, gap = quantities
    return (
        standard
        + repeated
        + drawn
        + systematic
        - standard * (expansion_gap * theta + expansion * gap)
    )


@lru_cache(maxsize=1)
def gauge() -> Budget:
    slopes = (1.0, 1.0, 1.0, 1.0, 0.0, 0.0, -LENGTH_NM * THETA_K, -LENGTH_NM * EXPANSION_PER_K)
    return combine(gauge_length(*(item.value for item in H1_INPUTS)), H1_INPUTS, slopes)


def gauge_second_order() -> float:
    linear = gauge().standard_uncertainty ** 2
    return math.sqrt(linear + second_order_variance(gauge_length, H1_INPUTS))


def contribution(label: str) -> float:
    return next(line.contribution for line in gauge().lines if line.input.label == label)


def end_gauge() -> Iterator[Check]:
    yield from clause_checks(
        *(GUM, "H.1 end gauge", "published"),
        ("l, nm", 50_000_838, 0.5, lambda: gauge().value),
        ("uc, nm", 32, 0.5, lambda: gauge().standard_uncertainty),
        # The print combines rounded inputs: 16.7, which it truncates.
        ("effective degrees of freedom", 16.7, 0.1, lambda: gauge().effective_dof),
        ("uc with second-order terms, nm", 34, 0.5, gauge_second_order),
    )
    yield from clause_checks(
        *(GUM, "H.1 end gauge, unrounded", "reference"),
        ("uc, nm", 31.663879, 1e-5, lambda: gauge().standard_uncertainty),
        ("effective degrees of freedom", 16.751856, 1e-5, lambda: gauge().effective_dof),
        ("contribution of da, nm", 2.886787, 1e-4, lambda: contribution("da")),
        ("contribution of dt, nm", -16.599027, 1e-4, lambda: contribution("dt")),
        ("uc with second-order terms, nm", 33.8065, 1e-3, gauge_second_order),
        ("U95, nm", 66.8804, 1e-3, lambda: gauge().expanded().uncertainty),
    )


def second_order_moments() -> Iterator[Check]:
    """Parts of the exact variance of polynomials of normal inputs, from their moments.

    var(x^3) = 9 x^4 u^2 + 36 x^2 u^4 + 15 u^6; the middle term is of second order. For P = I^2 R
    those are 2 R^2 u(I)^4 + 6 I^2 u(I)^2 u(R)^2.
    """
    cube = (Input("x", 2.0, 0.1),)
    power = (Input("I", 3.0, 0.1), Input("R", 50.0, 2.0))
    current, load, u, v = 3.0, 50.0, 0.1, 2.0
    expected = 2 * load**2 * u**4 + 6 * current**2 * u**2 * v**2
    yield from clause_checks(
        *(GUM, "5.1.2 note, moments of the normal distribution", "reference"),
        ("x^3", 36 * 4 * 1e-4, 1e-6, lambda: second_order_variance(lambda x: x**3, cube)),
        ("I^2 R", expected, 1e-6, lambda: second_order_variance(lambda i, r: i * i * r, power)),
    )


# H.2, resistance R, reactance X and impedance Z from V, I and phase, read together five times.
def impedance() -> Iterator[Check]:
    clause = "H.2 resistance and reactance"
    for name, (value, u, mean, mean_u, printed, printed_u) in H2_RESULTS.items():
        budget, of_results = partial(from_means, name), partial(from_results, name)
        yield from clause_checks(
            *(GUM, clause, "published"),
            (f"{name}, ohm", printed, 0.001, lambda budget=budget: budget().value),
            (f"u({name}), ohm", printed_u, 0.001, lambda b=budget: b().standard_uncertainty),
        )
        yield from clause_checks(
            *(GUM, f"{clause}, unrounded", "reference"),
            (f"{name}, ohm", value, 1e-8, lambda budget=budget: budget().value),
            (f"u({name}), ohm", u, 1e-9, lambda b=budget: b().standard_uncertainty),
        )
        yield from clause_checks(
            *(GUM, "H.2.4 approach 2, unrounded", "reference"),
            (f"{name}, ohm", mean, 1e-8, lambda r=of_results: r().value),
            (f"u({name}), ohm", mean_u, 1e-9, lambda r=of_results: r().standard_uncertainty),
        )
    for name, expected in H2_WITHOUT_CORRELATION.items():
        alone = partial(from_means, name, correlated=False)
        yield from clause_checks(
            *(GUM, f"{clause}, correlation left out", "reference"),
            (f"u({name}), ohm", expected, 1e-6, lambda b=alone: b().standard_uncertainty),
        )


@lru_cache(maxsize=6)
def from_means(name: str, correlated: bool = True) -> Budget:
    rows = {"V": VOLTAGE_V, "I": CURRENT_A, "phase": PHASE_RAD}
    inputs = [from_readings(label, row) for label, row in rows.items()]
    r = np.corrcoef(np.array(list(rows.values())))
    correlations = {("V", "I"): r[0, 1], ("V", "phase"): r[0, 2], ("I", "phase"): r[1, 2]}
    volt, ampere, phase = (item.value for item in inputs)
    z = volt / ampere
    value, per_rad = {
        "R": (z * math.cos(phase), -z * math.sin(phase)),
        "X": (z * math.sin(phase), z * math.cos(phase)),
        "Z": (z, 0.0),
    }[name]
    slopes = (value / volt, -value / ampere, per_rad)
    return combine(value, inputs, slopes, correlations if correlated else None)


def from_results(name: str) -> Input:
    part = {"R": math.cos, "X": math.sin, "Z": lambda _: 1.0}[name]
    rows = zip(VOLTAGE_V, CURRENT_A, PHASE_RAD, strict=True)
    return from_readings(name, [v / i * part(phase) for v, i, phase in rows])


def welch_satterthwaite() -> Iterator[Check]:
    printed = ((0.25, 9), (0.57, 4), (0.82, 14))
    yield from clause_checks(
        *(GUM, "G.4.1, 0.25, 0.57 and 0.82 %", "from memory"),
        ("uc, %", 1.03, 0.005, lambda: added(*printed).standard_uncertainty),
        ("degrees of freedom", 19.0, 0.05, lambda: added(*printed).effective_dof),
    )
    yield from clause_checks(
        *(GUM, "G.4.1, 0.25, 0.57 and 0.82 %, unrounded", "reference"),
        ("degrees of freedom", 18.9987423, 1e-6, lambda: added(*printed).effective_dof),
        ("U95, %", 2.1547, 1e-4, lambda: added(*printed).expanded().uncertainty),
    )
    rest = ((0.57, 9), (0.25, math.inf))
    yield from clause_checks(
        *("suncal (its tests)", "0.57 with 9 degrees of freedom and 0.25", "published"),
        ("degrees of freedom", 12.8, 0.05, lambda: added(*rest).effective_dof),
    )


def added(*parts: tuple[float, float]) -> Budget:
    inputs = [Input(f"x{index}", 0.0, u, dof) for index, (u, dof) in enumerate(parts)]
    return combine(0.0, inputs, [1.0] * len(inputs))


def ten_resistors() -> Iterator[Check]:
    """Ten of 1000 ohm in series, each compared with one standard resistor, u = 100 mohm."""
    line = BudgetEntry(
        source="standard", evaluation="B", standard_uncertainty=0.1, shared="standard resistor"
    )
    ten = [
        Measured(value=1000.0, uncertainty=0.1, dof=AMPLE_DOF, age_s=0.0, budget=(line,))
        for _ in range(10)
    ]
    yield from clause_checks(
        *(GUM, "5.2.2 example, ten resistors", "from memory"),
        ("u of the sum, ohm", 1.0, 1e-9, lambda: sum_u(ten)),
        ("u of a difference, ohm", 0.0, 1e-9, lambda: difference(ten[0], ten[1]).uncertainty),
    )


def sum_u(values: list[Measured]) -> float:
    """Of a sum: every covariance, and each value's own variance."""
    pairs = [(one, other) for one in values for other in values if one is not other]
    variance = sum(one.uncertainty**2 for one in values)
    return math.sqrt(variance + sum(covariance(*pair) for pair in pairs))
