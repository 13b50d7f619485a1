"""NIST Statistical Reference Datasets, univariate: mean, standard deviation, autocorrelation."""

from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
import numpy.typing as npt

from ohmwright.published.checks import Check
from ohmwright.published.datasets import alternating, table
from ohmwright.uncertainty import autocorrelation

FloatArray = npt.NDArray[np.float64]

# data set, its readings, certified mean, s and r1, relative tolerance of s. NumAcc3 and 4 are
# built to cost digits: their readings differ from the decimals printed once held in binary.
CERTIFIED: tuple[tuple[str, Callable[[], FloatArray], float, float, float, float], ...] = (
    ("NumAcc1", lambda: np.array([10000001.0, 10000003.0, 10000002.0]), 10000002, 1, -0.5, 1e-15),
    ("NumAcc2", partial(alternating, 1.0), 1.2, 0.1, -0.999, 1e-13),
    ("NumAcc3", partial(alternating, 1e6), 1000000.2, 0.1, -0.999, 1e-9),
    ("NumAcc4", partial(alternating, 1e7), 10000000.2, 0.1, -0.999, 1e-8),
    (
        "Lottery",
        partial(table, "lottery"),
        518.958715596330,
        291.699727470969,
        -0.120948622967393,
        1e-14,
    ),
    (
        "Mavro",
        partial(table, "mavro"),
        2.00185600000000,
        0.000429123454003053,
        0.937989183438248,
        1e-12,
    ),
    (
        "Michelso",
        partial(table, "michelso"),
        299.852400000000,
        0.0790105478190518,
        0.535199668621283,
        1e-12,
    ),
    ("Lew", partial(table, "lew"), -177.435, 277.332168044316, -0.307304800605679, 1e-14),
)


def checks() -> Iterator[Check]:
    """Every certified figure of the eight sets."""
    for name, readings, mean, sd, lag1, sd_digits in CERTIFIED:
        yield _check(name, "mean", mean, 1e-14, autocorrelation.mean, readings)
        yield _check(name, "s", sd, sd_digits, autocorrelation.standard_deviation, readings)
        lag1_digits = max(10 * sd_digits, 1e-13)
        yield _check(name, "r1", lag1, lag1_digits, autocorrelation.lag1_autocorrelation, readings)


def _check(
    name: str,
    what: str,
    expected: float,
    relative: float,
    figure: Callable[[FloatArray], float],
    readings: Callable[[], FloatArray],
) -> Check:
    return Check(
        source="NIST StRD univariate",
        clause=name,
        what=what,
        expected=expected,
        tolerance=relative * abs(expected),
        compute=lambda: figure(readings()),
        status="published",
    )
