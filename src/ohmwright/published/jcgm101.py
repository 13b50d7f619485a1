"""JCGM 101:2008, propagation of distributions: examples 9.2 to 9.4.

Monte Carlo figures have a spread of their own; the tolerances cover it, and that of the standard's
own 10^5 or 10^6 trials.
"""

import math
from collections.abc import Iterator
from functools import lru_cache, partial
from typing import Any

from ohmwright.published.checks import Check, Source, Status
from ohmwright.uncertainty.budget import Budget, propagate, second_order_variance
from ohmwright.uncertainty.inputs import Input, rectangular
from ohmwright.uncertainty.montecarlo import Trials, simulate

TRIALS = 1_000_000
SEED = 101


def checks() -> Iterator[Check]:
    """Every check of JCGM 101."""
    yield from _additive()
    yield from _mass()
    yield from _comparison_loss()


_check = Source("JCGM 101:2008", "from memory")


# 9.2: Y = X1 + X2 + X3 + X4
ADDITIVE = {
    "9.2.2 four normal": tuple(Input(f"X{i}", 0.0, 1.0) for i in range(4)),
    "9.2.3 four rectangular": tuple(rectangular(f"X{i}", 0.0, math.sqrt(3.0)) for i in range(4)),
    "9.2.4 one wide rectangular": (
        *(rectangular(f"X{i}", 0.0, math.sqrt(3.0)) for i in range(3)),
        rectangular("X3", 0.0, 10.0 * math.sqrt(3.0)),
    ),
}


def _total(*terms: Any) -> Any:
    return sum(terms)


@lru_cache(maxsize=3)
def _additive_trials(clause: str) -> Trials:
    return simulate(_total, ADDITIVE[clause], TRIALS, SEED)


def _additive_high(clause: str) -> float:
    interval = _additive_trials(clause).symmetric_interval()
    return 0.5 * interval.width


def _additive_u(clause: str) -> float:
    return _additive_trials(clause).standard_uncertainty


def _additive_budget(clause: str) -> Budget:
    return propagate(_total, ADDITIVE[clause])


def _additive() -> Iterator[Check]:
    # clause: u and its tolerance, half width printed and exact, its Monte Carlo spread, how seen
    rows: tuple[tuple[str, float, float, float, float, float, Status], ...] = (
        ("9.2.2 four normal", 2.0, 0.006, 3.92, 3.919928, 0.01, "published"),
        # 2 sqrt(3) (2 - 0.6^(1/4)): the quantile of that sum in closed form.
        ("9.2.3 four rectangular", 2.0, 0.006, 3.88, 3.879406741, 0.01, "published"),
        ("9.2.4 one wide rectangular", 10.1, 0.06, 17.0, 17.015814, 0.03, "from memory"),
    )
    for clause, u, rounding, half_width, exact, spread, status in rows:
        yield _check(clause, "u, Monte Carlo", u, rounding, partial(_additive_u, clause), status)
        yield _check(
            clause,
            "95 % half width, Monte Carlo",
            half_width,
            spread + 0.005,
            partial(_additive_high, clause),
            status,
        )
        yield _check(
            f"{clause}, unrounded",
            "95 % half width, Monte Carlo",
            exact,
            spread,
            partial(_additive_high, clause),
            "reference",
        )
    yield _check(
        "9.2.4 one wide rectangular",
        "95 % half width, linear budget",
        19.9,
        0.05,
        lambda: _additive_budget("9.2.4 one wide rectangular").expanded().uncertainty,
    )
    yield _check(
        "9.2.4 one wide rectangular, unrounded",
        "u, linear budget",
        10.148892,
        1e-6,
        lambda: _additive_budget("9.2.4 one wide rectangular").standard_uncertainty,
        "reference",
    )


# 9.3: calibration of a mass in air, mg.
MASS = (
    Input("mR", 100_000.0, 0.050),
    Input("dmR", 1.234, 0.020),
    rectangular("ra", 1.20, 0.10),
    rectangular("rW", 8e3, 1e3),
    rectangular("rR", 8e3, 50.0),
)


def _mass_model(reference: Any, added: Any, air: Any, weight: Any, standard: Any) -> Any:
    buoyancy = (air - 1.2) * (1.0 / weight - 1.0 / standard)
    return (reference + added) * (1.0 + buoyancy) - 100_000.0


@lru_cache(maxsize=1)
def _mass_trials() -> Trials:
    return simulate(_mass_model, MASS, TRIALS, SEED)


@lru_cache(maxsize=1)
def _mass_budget() -> Budget:
    return propagate(_mass_model, MASS)


def _mass_end(sign: float) -> float:
    return _mass_budget().value + sign * _mass_budget().expanded().uncertainty


def _mass_second_order() -> float:
    linear = _mass_budget().standard_uncertainty ** 2
    return math.sqrt(linear + second_order_variance(_mass_model, MASS))


def _mass() -> Iterator[Check]:
    clause = "9.3 mass calibration"
    yield _check(clause, "dm, mg, linear", 1.2340, 1e-4, lambda: _mass_budget().value)
    yield _check(clause, "u, mg, linear", 0.0539, 6e-5, lambda: _mass_budget().standard_uncertainty)
    yield _check(clause, "low end, mg, linear", 1.1285, 6e-5, partial(_mass_end, -1.0))
    yield _check(clause, "high end, mg, linear", 1.3395, 6e-5, partial(_mass_end, 1.0))
    yield _check(clause, "dm, mg, Monte Carlo", 1.2341, 5e-4, lambda: _mass_trials().mean)
    yield _check(
        clause, "u, mg, Monte Carlo", 0.0754, 3e-4, lambda: _mass_trials().standard_uncertainty
    )
    # The printed ends are one sample's; 1.0834 and 1.3825 lie 0.001 off the exact ones.
    shortest = "shortest 95 % interval"
    yield _check(
        clause, f"{shortest}, low, mg", 1.0834, 2e-3, lambda: _mass_trials().shortest_interval().low
    )
    yield _check(
        clause,
        f"{shortest}, high, mg",
        1.3825,
        2e-3,
        lambda: _mass_trials().shortest_interval().high,
    )
    yield _check(
        f"{clause}, by quadrature",
        f"{shortest}, width, mg",
        0.2991335,
        5e-4,
        lambda: _mass_trials().shortest_interval().width,
        "reference",
    )
    yield _check(clause, "u with second-order terms, mg", 0.0750, 6e-5, _mass_second_order)
    yield _check(
        f"{clause}, unrounded",
        "u with second-order terms, mg",
        0.07496347,
        1e-6,
        _mass_second_order,
        "reference",
    )


# 9.4: Y = X1^2 + X2^2 in 10^-6, u = 0.005. x1, r: estimate, u, interval as printed; the spread of
# the estimate and u, and of the interval's ends (the shortest interval is a flat minimum).
COMPARISON_LOSS = (
    (0.000, 0.0, 50.0, 50.0, 0.0, 150.0, 0.5, 1.0),
    (0.010, 0.0, 150.0, 112.0, 0.0, 367.0, 0.6, 3.0),
    (0.050, 0.0, 2550.0, 502.0, 1590.0, 3543.0, 2.0, 6.0),
    (0.000, 0.9, 50.0, 67.0, 0.0, 185.0, 0.6, 1.5),
    (0.010, 0.9, 150.0, 121.0, 13.0, 398.0, 0.8, 1.2),
    (0.050, 0.9, 2550.0, 505.0, 1628.0, 3555.0, 2.0, 6.0),
)


def _loss_model(first: Any, second: Any) -> Any:
    return 1e6 * (first * first + second * second)


@lru_cache(maxsize=6)
def _loss_trials(first: float, correlation: float) -> Trials:
    inputs = Input("x1", first, 0.005), Input("x2", 0.0, 0.005)
    correlations = {("x1", "x2"): correlation} if correlation else None
    return simulate(_loss_model, inputs, TRIALS, SEED, correlations)


def _comparison_loss() -> Iterator[Check]:
    for first, correlation, mean, u, low, high, spread, ends in COMPARISON_LOSS:
        clause = f"9.4 comparison loss, x1 = {first:.3f}, r = {correlation}"
        case = (first, correlation)
        yield _check(clause, "estimate, 1e-6", mean, spread, partial(_loss_mean, *case))
        yield _check(clause, "u, 1e-6", u, spread, partial(_loss_u, *case))
        yield _check(clause, "95 % low end, 1e-6", low, ends, partial(_loss_low, *case))
        yield _check(clause, "95 % high end, 1e-6", high, ends, partial(_loss_high, *case))
        exact, tolerance = _loss_u_closed(*case), 0.003 * u
        exact_clause = f"{clause}, closed form"
        yield _check(
            exact_clause, "u, 1e-6", exact, tolerance, partial(_loss_u, *case), "reference"
        )


def _loss_mean(first: float, correlation: float) -> float:
    return _loss_trials(first, correlation).mean


def _loss_u(first: float, correlation: float) -> float:
    return _loss_trials(first, correlation).standard_uncertainty


def _loss_low(first: float, correlation: float) -> float:
    return _loss_trials(first, correlation).shortest_interval().low


def _loss_high(first: float, correlation: float) -> float:
    return _loss_trials(first, correlation).shortest_interval().high


def _loss_u_closed(first: float, correlation: float) -> float:
    variance = 4.0 * 0.005**4 * (1.0 + correlation**2) + 4.0 * first**2 * 0.005**2
    return 1e6 * math.sqrt(variance)
