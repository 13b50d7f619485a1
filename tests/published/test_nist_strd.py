"""NIST Statistical Reference Datasets.

The univariate sets enter `from_readings`, which takes the mean of captured waveforms.
"""

import math
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np

from ohmwright.installation.check import Check, clause_checks
from ohmwright.uncertainty.inputs import from_readings

DATA = Path(__file__).parent / "data"


def stored(name: str) -> np.ndarray:
    """The numbers of data/`name`.txt, shape (n,)."""
    text = (DATA / f"{name}.txt").read_text(encoding="utf-8")
    rows = (line for line in text.splitlines() if not line.startswith("#"))
    return np.array(" ".join(rows).split(), dtype=np.float64)


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


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    for name, (readings, mean, s, digits) in UNIVARIATE.items():
        yield certified(name, "mean", mean, 1e-14, partial(mean_of, readings))
        yield certified(name, "s", s, digits, partial(s_of, readings))
        yield certified(name, "degrees of freedom", len(readings) - 1, 0, partial(dof_of, readings))


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
