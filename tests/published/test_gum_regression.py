"""JCGM 100:2008 (the GUM), examples H.3 and H.5: a fitted line and a variance, as a fleet needs."""

import math
from collections.abc import Callable, Iterator
from functools import lru_cache

import numpy as np

from ohmwright.fleet.drift import Trend, fit_trend
from ohmwright.fleet.regression import Anova, one_way_anova_from_summaries
from ohmwright.installation.check import Check, clause_checks

GUM = "GUM (JCGM 100:2008)"
TEMPERATURE_C = (
    *(21.521, 22.012, 22.512, 23.003, 23.507, 23.999),
    *(24.513, 25.002, 25.503, 26.010, 26.511),
)
CORRECTION_C = (
    *(-0.171, -0.169, -0.166, -0.159, -0.164, -0.165),
    *(-0.156, -0.157, -0.159, -0.161, -0.160),
)
DAY_MEANS_UV = (172, 116, 13, 144, 106, 31, 60, 125, 163, 41)  # above 10 V
DAY_SDS_UV = (60, 77, 111, 101, 67, 93, 80, 73, 88, 86)  # five readings a day


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for what, printed, rounding, exact, compute in (
        ("y1, C", -0.1712, 6e-5, -0.171203790131, lambda: coefficient(0)),
        ("u(y1), C", 0.0029, 6e-5, 0.00287759784, lambda: coefficient_u(0)),
        ("y2", 0.00218, 6e-6, 0.00218269773989, lambda: line().slope),
        ("u(y2)", 0.00067, 6e-6, 0.000667938773, lambda: line().slope_u),
        ("r(y1, y2)", -0.930, 6e-4, -0.9304296, lambda: line().fit.correlation(0, 1)),
        ("s, C", 0.0035, 6e-5, 0.00349756396, lambda: line().fit.residual_sd),
        ("b(30 C), C", -0.1494, 6e-5, -0.1493768127, lambda: line().predict(30).value),
        ("u(b(30 C)), C", 0.0041, 6e-5, 0.0041385958, lambda: line().predict(30).trend_u),
    ):
        yield from clause_checks(
            GUM, "H.3 thermometer", "published", (what, printed, rounding, compute)
        )
        row = (what, exact, 1e-6 * abs(exact), compute)
        yield from clause_checks(GUM, "H.3 thermometer, unrounded", "reference", row)
    yield from clause_checks(
        *(GUM, "H.5 analysis of variance", "published"),
        ("F", 2.25, 0.02, lambda: days().f_statistic),
        # The GUM's 57 uV is the standard deviation of the ten daily means.
        ("between days, uV", 57, 0.5, lambda: math.sqrt(days().between_mean_square / 5)),
        ("within days, uV", 85, 0.5, lambda: math.sqrt(days().within_mean_square)),
    )


# H.3, calibration of a thermometer: b = y1 + y2 (t - 20 C).
@lru_cache(maxsize=1)
def line() -> Trend:
    return fit_trend(TEMPERATURE_C, CORRECTION_C, origin=20.0)


def coefficient(index: int) -> float:
    return float(line().fit.coefficients[index])


def coefficient_u(index: int) -> float:
    return float(line().fit.standard_uncertainties[index])


# H.5, a Zener voltage standard on ten days, five readings a day.
def days() -> Anova:
    return one_way_anova_from_summaries(np.array(DAY_MEANS_UV), np.array(DAY_SDS_UV), 5)
