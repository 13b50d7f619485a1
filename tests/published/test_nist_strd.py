"""NIST Statistical Reference Datasets.

Univariate sets enter `from_readings`, which takes the mean of captured waveforms; Norris and
Longley (regression) and SiRstv (variance) the fits of the fleet's room.
"""

import math
from collections.abc import Callable, Iterator
from functools import lru_cache, partial
from pathlib import Path

import numpy as np

from ohmwright.fleet.drift import Trend, fit_trend
from ohmwright.fleet.regression import Anova, Fit, least_squares, one_way_anova
from ohmwright.installation.check import Check, clause_checks
from ohmwright.uncertainty.inputs import from_readings

DATA = Path(__file__).parent / "data"


def stored(name: str, columns: int = 1) -> np.ndarray:
    """The numbers of data/`name`.txt, shape (n,) for one column, else (n, columns)."""
    text = (DATA / f"{name}.txt").read_text(encoding="utf-8")
    rows = (line for line in text.splitlines() if not line.startswith("#"))
    numbers = np.array(" ".join(rows).split(), dtype=np.float64)
    return numbers if columns == 1 else numbers.reshape(-1, columns)


def alternating(base: float) -> np.ndarray:
    """NumAcc2 to 4: base + 0.2, then 500 times base + 0.1 and base + 0.3."""
    return np.array([base + 0.2] + [base + 0.1, base + 0.3] * 500)


# data set: its readings, certified mean and s, relative tolerance of s. NumAcc3 and 4 are built to
# cost digits: their readings differ from the decimals printed once held in binary.
UNIVARIATE = {
    "NumAcc1": (np.array([10000001.0, 10000003.0, 10000002.0]), 10000002, 1, 1e-15),
    "NumAcc2": (alternating(1.0), 1.2, 0.1, 1e-13),
    "NumAcc3": (alternating(1e6), 1000000.2, 0.1, 1e-9),
    "NumAcc4": (alternating(1e7), 10000000.2, 0.1, 1e-8),
    "Lottery": (stored("lottery"), 518.958715596330, 291.699727470969, 1e-14),
    "Mavro": (stored("mavro"), 2.00185600000000, 0.000429123454003053, 1e-12),
    "Michelso": (stored("michelso"), 299.852400000000, 0.0790105478190518, 1e-12),
    "Lew": (stored("lew"), -177.435, 277.332168044316, 1e-14),
}

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


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for name, (readings, mean, s, digits) in UNIVARIATE.items():
        yield certified(name, "mean", mean, 1e-14, partial(mean_of, readings))
        yield certified(name, "s", s, digits, partial(s_of, readings))
        yield certified(name, "degrees of freedom", len(readings) - 1, 0, partial(dof_of, readings))
    for what, expected, of_trend in NORRIS:
        yield certified("Norris", what, expected, 1e-10, lambda of=of_trend: of(norris()))
    for index, expected in enumerate(LONGLEY_COEFFICIENTS):
        yield certified(
            "Longley", f"B{index}", expected, 1e-9, lambda i=index: longley().coefficients[i]
        )
    for what, expected, of_fit in LONGLEY:
        yield certified("Longley", what, expected, 1e-9, lambda of=of_fit: of(longley()))
    for what, expected, of_groups in SIRSTV:
        yield certified("SiRstv", what, expected, 1e-8, lambda of=of_groups: of(sirstv()))


def certified(
    name: str, what: str, expected: float, relative: float, compute: Callable[[], float]
) -> Check:
    row = (what, expected, relative * abs(expected), compute)
    return next(clause_checks("NIST StRD", name, "published", row))


def mean_of(readings: np.ndarray) -> float:
    return from_readings("y", readings).value


def s_of(readings: np.ndarray) -> float:
    return from_readings("y", readings).standard_uncertainty * math.sqrt(readings.size)


def dof_of(readings: np.ndarray) -> float:
    return from_readings("y", readings).dof


@lru_cache(maxsize=1)
def norris() -> Trend:
    points = stored("norris", columns=2)
    return fit_trend(points[:, 1], points[:, 0])


@lru_cache(maxsize=1)
def longley() -> Fit:
    rows = stored("longley", columns=7)
    design = np.column_stack([np.ones(len(rows)), rows[:, 1:]])
    return least_squares(design, rows[:, 0])


@lru_cache(maxsize=1)
def sirstv() -> Anova:
    return one_way_anova(list(stored("sirstv", columns=5)))
