"""JCGM 100:2008 (the GUM): examples H.1, H.3 and H.5, table G.2, clause G.4.1."""

import math
from collections.abc import Iterator
from functools import lru_cache, partial

import numpy as np

from ohmwright.fleet.drift import Trend, fit_trend
from ohmwright.fleet.regression import Anova, one_way_from_summaries
from ohmwright.published.checks import Check, Source
from ohmwright.uncertainty.budget import (
    Budget,
    combine,
    propagate,
    second_order_variance,
)
from ohmwright.uncertainty.distributions import coverage_factor
from ohmwright.uncertainty.inputs import (
    Input,
    arcsine,
    from_readings,
    rectangular,
)

TEMPERATURE_C = (
    *(21.521, 22.012, 22.512, 23.003, 23.507, 23.999),
    *(24.513, 25.002, 25.503, 26.010, 26.511),
)
CORRECTION_C = (
    *(-0.171, -0.169, -0.166, -0.159, -0.164, -0.165),
    *(-0.156, -0.157, -0.159, -0.161, -0.160),
)

DAY_MEANS_V = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)  # uV above 10 V
DAY_SDS_V = (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)  # uV, five readings a day

# dof: t for coverage 68.27, 90, 95, 95.45, 99 and 99.73 %
TABLE_G2 = {
    1: (1.84, 6.31, 12.71, 13.97, 63.66, 235.80),
    2: (1.32, 2.92, 4.30, 4.53, 9.92, 19.21),
    3: (1.20, 2.35, 3.18, 3.31, 5.84, 9.22),
    4: (1.14, 2.13, 2.78, 2.87, 4.60, 6.62),
    5: (1.11, 2.02, 2.57, 2.65, 4.03, 5.51),
    9: (1.06, 1.83, 2.26, 2.32, 3.25, 4.09),
    10: (1.05, 1.81, 2.23, 2.28, 3.17, 3.96),
    16: (1.03, 1.75, 2.12, 2.17, 2.92, 3.54),
    19: (1.03, 1.73, 2.09, 2.14, 2.86, 3.45),
    20: (1.03, 1.72, 2.09, 2.13, 2.85, 3.42),
    50: (1.01, 1.68, 2.01, 2.05, 2.68, 3.16),
    100: (1.005, 1.660, 1.984, 2.025, 2.626, 3.077),
    math.inf: (1.000, 1.645, 1.960, 2.000, 2.576, 3.000),
}
G2_COVERAGES = (0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973)


def checks() -> Iterator[Check]:
    """Every check of the GUM."""
    yield from _end_gauge()
    yield from _thermometer()
    yield from _voltage_standard()
    yield from _welch_satterthwaite()
    for dof, row in TABLE_G2.items():
        for coverage, expected in zip(G2_COVERAGES, row, strict=True):
            what = f"t for {dof:g} dof at {100 * coverage:g} %"
            tolerance = 0.03 if expected > 200 else 0.0051
            compute = partial(coverage_factor, dof, coverage)
            yield _check("table G.2", what, expected, tolerance, compute, "from memory")


_check = Source("GUM (JCGM 100:2008)", "published")


# H.1, end gauge: l = ls + d - ls (da theta + as dt), in nm.
H1_INPUTS = (
    Input("ls", 50_000_623.0, 25.0, 18),
    Input("d, repeated", 215.0, 5.8, 24),
    Input("d, comparator, random", 0.0, 3.9, 5),
    Input("d, comparator, systematic", 0.0, 6.7, 8),
    rectangular("as", 11.5e-6, 2e-6),
    Input("theta, mean", -0.1, 0.2),
    arcsine("theta, cycle", 0.0, 0.5),
    rectangular("da", 0.0, 1e-6, 50),
    rectangular("dt", 0.0, 0.05, 2),
)


def _gauge_length(*quantities: float) -> float:
    standard, repeated, drawn, systematic, expansion, mean, cycle, expansion_gap, gap = quantities
    stretch = expansion_gap * (mean + cycle) + expansion * gap
    return standard + (repeated + drawn + systematic) - standard * stretch


@lru_cache(maxsize=1)
def _gauge() -> Budget:
    return propagate(_gauge_length, H1_INPUTS)


def _end_gauge() -> Iterator[Check]:
    clause = "H.1 end gauge"
    yield _check(clause, "l, nm", 50_000_838, 0.5, lambda: _gauge().value)
    yield _check(clause, "uc, nm", 32, 0.5, lambda: _gauge().standard_uncertainty)
    # The print combines rounded inputs: 16.7, which it truncates.
    yield _check(clause, "effective dof", 16.7, 0.1, lambda: _gauge().effective_dof)
    yield _check(clause, "U99 by truncated dof, nm", 93, 1.0, _gauge_expanded)
    exact = "H.1 end gauge, unrounded"
    yield _check(
        exact, "uc, nm", 31.663879, 1e-5, lambda: _gauge().standard_uncertainty, "reference"
    )
    yield _check(
        exact, "effective dof", 16.751856, 1e-5, lambda: _gauge().effective_dof, "reference"
    )
    for label, expected in (("ls", 25.0), ("da", -2.886787), ("dt", -16.599027)):
        what = f"contribution of {label}, nm"
        # In magnitude: the sign is that of the sensitivity.
        yield _check(
            exact, what, abs(expected), 1e-4, partial(_gauge_contribution, label), "reference"
        )
    yield _check(clause, "uc with second-order terms, nm", 34, 0.5, _gauge_second_order)
    yield _check(
        exact, "uc with second-order terms, nm", 33.8065, 1e-3, _gauge_second_order, "reference"
    )


def _gauge_expanded() -> float:
    return coverage_factor(math.floor(_gauge().effective_dof), 0.99) * _gauge().standard_uncertainty


def _gauge_contribution(label: str) -> float:
    return next(abs(line.contribution) for line in _gauge().lines if line.input.label == label)


def _gauge_second_order() -> float:
    linear = _gauge().standard_uncertainty ** 2
    return math.sqrt(linear + second_order_variance(_gauge_length, H1_INPUTS))


# H.3, calibration of a thermometer: b = y1 + y2 (t - 20 C).
@lru_cache(maxsize=1)
def _calibration() -> Trend:
    return fit_trend(TEMPERATURE_C, CORRECTION_C, origin=20.0)


def _thermometer() -> Iterator[Check]:
    for what, printed, rounding, exact, compute in (
        ("y1, C", -0.1712, 6e-5, -0.171203790131, lambda: _coefficient(0)),
        ("u(y1), C", 0.0029, 6e-5, 0.00287759784, lambda: _coefficient_u(0)),
        ("y2", 0.00218, 6e-6, 0.00218269773989, lambda: _calibration().slope),
        ("u(y2)", 0.00067, 6e-6, 0.000667938773, lambda: _calibration().slope_u),
        ("r(y1, y2)", -0.930, 6e-4, -0.9304296, lambda: _calibration().fit.correlation(0, 1)),
        ("s, C", 0.0035, 6e-5, 0.00349756396, lambda: _calibration().fit.residual_sd),
        ("b(30 C), C", -0.1494, 6e-5, -0.1493768127, lambda: _calibration().predict(30).value),
        ("u(b(30 C)), C", 0.0041, 6e-5, 0.0041385958, lambda: _calibration().predict(30).trend_u),
    ):
        yield _check("H.3 thermometer", what, printed, rounding, compute)
        tolerance = 1e-6 * abs(exact)
        yield _check("H.3 thermometer, unrounded", what, exact, tolerance, compute, "reference")


def _coefficient(index: int) -> float:
    return float(_calibration().fit.coefficients[index])


def _coefficient_u(index: int) -> float:
    return float(_calibration().fit.standard_uncertainties[index])


# H.5, a Zener voltage standard on ten days, five readings a day.
def _days() -> Anova:
    return one_way_from_summaries(np.array(DAY_MEANS_V), np.array(DAY_SDS_V), 5)


def _voltage_standard() -> Iterator[Check]:
    clause = "H.5 analysis of variance"
    yield _check(
        clause,
        "mean, uV above 10 V",
        97,
        0.5,
        lambda: from_readings("V", DAY_MEANS_V, lag1=0.0).value,
    )
    yield _check(clause, "F", 2.25, 0.02, lambda: _days().f_statistic)
    yield _check(clause, "between days, uV", 57, 0.5, lambda: _between_days())
    yield _check(clause, "within days, uV", 85, 0.5, lambda: math.sqrt(_days().within_mean_square))


def _between_days() -> float:
    # The GUM's 57 uV is the standard deviation of the ten daily means.
    return math.sqrt(_days().between_mean_square / 5)


def _welch_satterthwaite() -> Iterator[Check]:
    clause = "G.4.1 effective dof"
    printed = ((0.25, 9), (0.57, 4), (0.82, 14))
    yield _check(
        clause,
        "uc, % of 0.25, 0.57, 0.82 %",
        1.03,
        0.005,
        lambda: _sum(*printed).standard_uncertainty,
        "from memory",
    )
    yield _check(
        clause,
        "dof of 0.25, 0.57, 0.82 %",
        19.0,
        0.05,
        lambda: _sum(*printed).effective_dof,
        "from memory",
    )
    yield _check(
        f"{clause}, unrounded",
        "dof of 0.25, 0.57, 0.82 %",
        18.9987423,
        1e-6,
        lambda: _sum(*printed).effective_dof,
        "reference",
    )
    yield _check(
        f"{clause}, unrounded",
        "U95, % of 0.25, 0.57, 0.82 %",
        2.1547,
        1e-4,
        lambda: _sum(*printed).expanded(0.95).uncertainty,
        "reference",
    )
    yield _check(
        clause,
        "dof of 0.57 (9) and 0.25",
        12.8,
        0.05,
        lambda: _sum((0.57, 9), (0.25, math.inf)).effective_dof,
    )


def _sum(*parts: tuple[float, float]) -> Budget:
    inputs = [Input(f"x{index}", 0.0, u, dof) for index, (u, dof) in enumerate(parts)]
    return combine(0.0, inputs, [1.0] * len(inputs))
