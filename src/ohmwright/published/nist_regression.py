"""NIST Statistical Reference Datasets: Norris and Longley (regression), SiRstv (variance)."""

from collections.abc import Callable, Iterator
from functools import lru_cache, partial

import numpy as np

from ohmwright.fleet.drift import Trend, fit_trend
from ohmwright.fleet.regression import Anova, Fit, least_squares, one_way
from ohmwright.published.checks import Check
from ohmwright.published.datasets import table

NORRIS: tuple[tuple[str, float, Callable[[Trend], float]], ...] = (
    ("B0", -0.262323073774029, lambda trend: trend.fit.coefficients[0]),
    ("B1", 1.00211681802045, lambda trend: trend.slope),
    ("u(B0)", 0.232818234301152, lambda trend: trend.fit.standard_uncertainties[0]),
    ("u(B1)", 0.429796848199937e-3, lambda trend: trend.slope_u),
    ("s", 0.884796396144373, lambda trend: trend.fit.residual_sd),
    ("R squared", 0.999993745883712, lambda trend: trend.fit.r_squared),
)

LONGLEY_COEFFICIENTS = (
    -3482258.63459582,
    15.0618722713733,
    -0.358191792925910e-1,
    -2.02022980381683,
    -1.03322686717359,
    -0.511041056535807e-1,
    1829.15146461355,
)
LONGLEY: tuple[tuple[str, float, Callable[[Fit], float]], ...] = (
    ("s", 304.854073561965, lambda fit: fit.residual_sd),
    ("R squared", 0.995479004577296, lambda fit: fit.r_squared),
    ("F", 330.285339234588, lambda fit: fit.f_statistic),
)

SIRSTV: tuple[tuple[str, float, Callable[[Anova], float]], ...] = (
    ("between mean square", 5.11462616e-2 / 4, lambda anova: anova.between_mean_square),
    ("within mean square", 2.16636560e-1 / 20, lambda anova: anova.within_mean_square),
    ("F", 1.18046237440255, lambda anova: anova.f_statistic),
    ("R squared", 0.190999039051129, lambda anova: anova.r_squared),
    ("residual s", 0.104076068334656, lambda anova: anova.within_mean_square**0.5),
)


def checks() -> Iterator[Check]:
    """Every certified figure."""
    for what, expected, figure in NORRIS:
        yield _check("Norris", what, expected, 1e-10, partial(_of_norris, figure))
    for index, expected in enumerate(LONGLEY_COEFFICIENTS):
        compute = partial(_longley_coefficient, index)
        yield _check("Longley", f"B{index}", expected, 1e-9, compute)
    for what, expected, of_longley in LONGLEY:
        yield _check("Longley", what, expected, 1e-9, partial(_of_longley, of_longley))
    for what, expected, of_groups in SIRSTV:
        yield _check("SiRstv", what, expected, 1e-8, partial(_of_sirstv, of_groups))


def _check(
    clause: str, what: str, expected: float, relative: float, compute: Callable[[], float]
) -> Check:
    return Check(
        source="NIST StRD regression and variance",
        clause=clause,
        what=what,
        expected=expected,
        tolerance=relative * abs(expected),
        compute=compute,
        status="published",
    )


@lru_cache(maxsize=1)
def _norris() -> Trend:
    points = table("norris", columns=2)
    return fit_trend(points[:, 1], points[:, 0])


@lru_cache(maxsize=1)
def _longley() -> Fit:
    rows = table("longley", columns=7)
    design = np.column_stack([np.ones(len(rows)), rows[:, 1:]])
    return least_squares(design, rows[:, 0])


def _of_norris(figure: Callable[[Trend], float]) -> float:
    return figure(_norris())


def _of_longley(figure: Callable[[Fit], float]) -> float:
    return figure(_longley())


def _longley_coefficient(index: int) -> float:
    return float(_longley().coefficients[index])


def _of_sirstv(figure: Callable[[Anova], float]) -> float:
    return figure(one_way(list(table("sirstv", columns=5))))
