"""Effective size of an autocorrelated run and the von Neumann ratio."""

from collections.abc import Iterator
from functools import partial

from ohmwright.published.checks import Check
from ohmwright.published.datasets import table
from ohmwright.uncertainty import autocorrelation

# n, lag-1 autocorrelation, n / inflation by the long-series formula, and exactly. Not capped.
EQUIVALENT = (
    (100, 0.5, 33.3333, 33.7838),
    (100, 0.9, 5.2632, 5.8139),
    (20, 0.3, 10.7692, 11.1364),
    (50, -0.3, 92.8571, 91.6486),
    (1000, 0.8, 111.111, 111.607),
)

# StRD set: effective size by the long-series formula, von Neumann ratio. Lottery and Lew have
# negative autocorrelation: their figures are those before the cap.
DATASETS = (
    ("michelso", 30.2762136, 0.92909013),
    ("mavro", 1.5998752, 0.09087685),
    ("lottery", 277.989, 2.22407592),
    ("lew", 377.455, 2.60964207),
)

# n: lower critical values at 0.1, 1, 5 and 10 %
CRITICAL = {
    4: (0.5898, 0.6256, 0.7805, 0.9644),
    5: (0.4161, 0.5379, 0.8204, 1.0510),
    6: (0.3630, 0.5614, 0.8902, 1.0994),
    8: (0.4010, 0.6647, 0.9817, 1.1832),
    10: (0.4814, 0.7517, 1.0621, 1.2511),
    12: (0.5556, 0.8280, 1.1276, 1.3060),
    15: (0.6539, 0.9222, 1.2053, 1.3703),
    20: (0.7847, 1.0406, 1.2996, 1.4473),
    25: (0.8853, 1.1277, 1.3671, 1.5018),
    30: (0.9650, 1.1950, 1.4183, 1.5429),
    50: (1.1704, 1.3629, 1.5435, 1.6425),
}


def checks() -> Iterator[Check]:
    """Effective sizes, von Neumann ratios and their critical values."""
    yield from _effective_sizes()
    yield from _dataset_figures()
    for count, row in CRITICAL.items():
        for alpha, expected in zip((0.001, 0.01, 0.05, 0.10), row, strict=True):
            yield Check(
                source="von Neumann ratio",
                clause="lower critical values (Hart 1942)",
                what=f"n = {count}, {100 * alpha:g} %",
                expected=expected,
                tolerance=6e-5,
                compute=partial(autocorrelation.von_neumann_critical, count, alpha),
                status="reference",
            )


def _effective_sizes() -> Iterator[Check]:
    for count, lag1, asymptotic, exact in EQUIVALENT:
        yield Check(
            source="Effective sample size",
            clause="n (1 - r)/(1 + r)",
            what=f"n = {count}, r = {lag1}",
            expected=asymptotic,
            tolerance=6e-4,
            compute=partial(_long_series_size, count, lag1),
            status="reference",
        )
        yield Check(
            source="Effective sample size",
            clause="AR(1), exact",
            what=f"n = {count}, r = {lag1}",
            expected=exact,
            tolerance=6e-4,
            compute=partial(_ar1_size, count, lag1),
            status="reference",
        )


def _dataset_figures() -> Iterator[Check]:
    for name, size, ratio in DATASETS:
        yield Check(
            source="Effective sample size",
            clause=f"NIST StRD {name.capitalize()}",
            what="n (1 - r)/(1 + r)",
            expected=size,
            tolerance=6e-4,
            compute=partial(_dataset_size, name),
            status="reference",
        )
        yield Check(
            source="von Neumann ratio",
            clause=f"NIST StRD {name.capitalize()}",
            what="ratio",
            expected=ratio,
            tolerance=1e-8,
            compute=partial(_ratio, name),
            status="reference",
        )


# Before the cap at n, which the printed figures do not have.
def _long_series_size(count: int, lag1: float) -> float:
    return count / autocorrelation.asymptotic_inflation(lag1)


def _ar1_size(count: int, lag1: float) -> float:
    return count / autocorrelation.ar1_inflation(count, lag1)


def _dataset_size(name: str) -> float:
    readings = table(name)
    return _long_series_size(readings.size, autocorrelation.lag1_autocorrelation(readings))


def _ratio(name: str) -> float:
    return autocorrelation.von_neumann_ratio(table(name))
