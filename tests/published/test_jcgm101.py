"""JCGM 101:2008, propagation of distributions: examples 9.2 to 9.4.

Each goes through `propagate`, as a point's budget does, or through the simulation behind it where
the linear budget would stand. A record states symmetric intervals and 9.4 prints shortest ones, so
its intervals are held against exact distributions.

Monte Carlo figures have a spread of their own; the tolerances cover it, and that of the standard's
own 10^5 or 10^6 trials.
"""

import math
from collections.abc import Callable, Iterator
from functools import lru_cache
from typing import Any

from scipy import stats

from ohmwright.installation.check import Check, clause_checks
from ohmwright.uncertainty.budget import (
    FEWEST_TRIALS,
    SEED,
    PropagatedValue,
    combine,
    propagate,
    second_order_variance,
)
from ohmwright.uncertainty.inputs import Input, rectangular
from ohmwright.uncertainty.montecarlo import Trials, simulate_adaptively

JCGM101 = "JCGM 101:2008"


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    yield from additive()
    yield from mass()
    for case in COMPARISON_LOSS:
        yield from comparison_loss(*case)
    yield from loss_as_a_record_states_it()


# 9.2: Y = X1 + X2 + X3 + X4
NORMAL = tuple(Input(f"X{i}", 0.0, 1.0) for i in range(4))
RECTANGULAR = tuple(rectangular(f"X{i}", 0.0, math.sqrt(3.0)) for i in range(4))
WIDE = (*RECTANGULAR[:3], rectangular("X3", 0.0, 10.0 * math.sqrt(3.0)))


def total(*terms: Any) -> Any:
    return sum(terms)


@lru_cache(maxsize=3)
def of_total(inputs: tuple[Input, ...]) -> PropagatedValue:
    return propagate(total, inputs, combine(0.0, inputs, [1.0] * 4))


@lru_cache(maxsize=2)
def simulated(inputs: tuple[Input, ...]) -> tuple[float, float]:
    """Standard uncertainty and half the 95 % interval."""
    trials = simulate_adaptively(total, inputs, SEED, fewest_trials=FEWEST_TRIALS)
    return trials.standard_uncertainty, 0.5 * trials.symmetric_interval().width


def additive() -> Iterator[Check]:
    yield from clause_checks(
        *(JCGM101, "9.2.2 four normal", "published"),
        ("95 % half width", 3.92, 0.005, lambda: of_total(NORMAL).expanded.uncertainty),
        ("95 % half width, Monte Carlo", 3.92, 0.015, lambda: simulated(NORMAL)[1]),
    )
    yield from clause_checks(
        *(JCGM101, "9.2.2 four normal", "from memory"),
        ("propagation", "linear", 0, lambda: of_total(NORMAL).propagation),
    )
    yield from clause_checks(
        *(JCGM101, "9.2.3 four rectangular", "published"),
        ("u, Monte Carlo", 2.0, 0.006, lambda: simulated(RECTANGULAR)[0]),
        ("95 % half width, Monte Carlo", 3.88, 0.015, lambda: simulated(RECTANGULAR)[1]),
    )
    yield from clause_checks(
        # 2 sqrt(3) (2 - 0.6^(1/4)): the quantile of that sum in closed form.
        *(JCGM101, "9.2.3 four rectangular, closed form", "reference"),
        ("95 % half width, Monte Carlo", 3.879406741, 0.008, lambda: simulated(RECTANGULAR)[1]),
    )
    linear = combine(0.0, WIDE, [1.0] * 4)
    yield from clause_checks(
        *(JCGM101, "9.2.4 one wide rectangular", "from memory"),
        ("propagation", "Monte Carlo", 0, lambda: of_total(WIDE).propagation),
        ("u", 10.1, 0.06, lambda: of_total(WIDE).standard_uncertainty),
        ("95 % half width", 17.0, 0.035, lambda: of_total(WIDE).expanded.uncertainty),
        ("95 % half width, linear", 19.9, 0.05, lambda: linear.expanded().uncertainty),
    )


# 9.3: calibration of a mass in air, mg.
MASS = (
    Input("mR", 100_000.0, 0.050),
    Input("dmR", 1.234, 0.020),
    rectangular("ra", 1.20, 0.10),
    rectangular("rW", 8e3, 1e3),
    rectangular("rR", 8e3, 50.0),
)


def mass_model(reference: Any, added: Any, air: Any, weight: Any, standard: Any) -> Any:
    buoyancy = (air - 1.2) * (1.0 / weight - 1.0 / standard)
    return (reference + added) * (1.0 + buoyancy) - 100_000.0


# At the estimates the buoyancy is nothing, so densities have no slope.
MASS_BUDGET = combine(1.234, MASS, (1.0, 1.0, 0.0, 0.0, 0.0))


@lru_cache(maxsize=1)
def of_mass() -> PropagatedValue:
    return propagate(mass_model, MASS, MASS_BUDGET)


def mass_second_order() -> float:
    linear = MASS_BUDGET.standard_uncertainty**2
    return math.sqrt(linear + second_order_variance(mass_model, MASS))


def mass() -> Iterator[Check]:
    yield from clause_checks(
        *(JCGM101, "9.3 mass calibration", "from memory"),
        ("propagation", "Monte Carlo", 0, lambda: of_mass().propagation),
        ("dm, mg", 1.2341, 4e-4, lambda: of_mass().value),
        ("u, mg", 0.0754, 3e-4, lambda: of_mass().standard_uncertainty),
        ("u, mg, linear", 0.0539, 6e-5, lambda: MASS_BUDGET.standard_uncertainty),
        ("U95, mg, linear", 0.1055, 1e-4, lambda: MASS_BUDGET.expanded().uncertainty),
        ("u with second-order terms, mg", 0.0750, 6e-5, mass_second_order),
    )
    yield from clause_checks(
        *(JCGM101, "9.3 mass calibration, by quadrature", "reference"),
        ("u, mg", 0.07547974, 1e-4, lambda: of_mass().standard_uncertainty),
        # the distribution is symmetric, so its shortest interval is the symmetric one
        ("95 % half width, mg", 0.14956675, 3e-4, lambda: of_mass().expanded.uncertainty),
        ("u with second-order terms, mg", 0.07496347, 1e-6, mass_second_order),
    )


# 9.4: Y = X1^2 + X2^2 in 10^-6, u = 0.005, x2 = 0. x1, r: estimate and u as printed, their spread.
U = 0.005
COMPARISON_LOSS = (
    (0.000, 0.0, 50.0, 50.0, 0.5),
    (0.010, 0.0, 150.0, 112.0, 0.6),
    (0.050, 0.0, 2550.0, 502.0, 2.0),
    (0.000, 0.9, 50.0, 67.0, 0.6),
    (0.010, 0.9, 150.0, 121.0, 0.8),
    (0.050, 0.9, 2550.0, 505.0, 2.0),
)


def loss_model(first: Any, second: Any) -> Any:
    return 1e6 * (first * first + second * second)


def loss_inputs(first: float) -> tuple[Input, Input]:
    return Input("x1", first, U), Input("x2", 0.0, U)


@lru_cache(maxsize=6)
def simulated_loss(first: float, r: float) -> Trials:
    correlations = {("x1", "x2"): r} if r else None
    inputs = loss_inputs(first)
    return simulate_adaptively(
        loss_model, inputs, SEED, correlations=correlations, fewest_trials=FEWEST_TRIALS
    )


@lru_cache(maxsize=2)
def of_loss(first: float) -> PropagatedValue:
    inputs = loss_inputs(first)
    budget = combine(loss_model(first, 0.0), inputs, (2e6 * first, 0.0))
    return propagate(loss_model, inputs, budget)


def comparison_loss(
    first: float, r: float, mean: float, u: float, spread: float
) -> Iterator[Check]:
    yield from clause_checks(
        *(JCGM101, f"9.4 comparison loss, x1 = {first:.3f}, r = {r}", "from memory"),
        ("estimate, 1e-6", mean, spread, lambda: simulated_loss(first, r).mean),
        ("u, 1e-6", u, spread, lambda: simulated_loss(first, r).standard_uncertainty),
    )


def loss_as_a_record_states_it() -> Iterator[Check]:
    low, high = stats.ncx2(2, (0.010 / U) ** 2, scale=1e6 * U**2).interval(0.95)
    yield from clause_checks(
        *(JCGM101, "9.4, x1 = 0.010, r = 0, noncentral chi squared", "reference"),
        ("propagation", "Monte Carlo", 0, lambda: of_loss(0.010).propagation),
        ("95 % half width", 0.5 * (high - low), 1.5, lambda: of_loss(0.010).expanded.uncertainty),
    )
    # Higher terms add 1 % to the variance at x1 = 0.050, so the linear budget stands.
    yield from clause_checks(
        *(JCGM101, "9.4, x1 = 0.050, r = 0, linear", "reference"),
        ("propagation", "linear", 0, lambda: of_loss(0.050).propagation),
        ("u", 500.0, 1e-9, lambda: of_loss(0.050).standard_uncertainty),
    )
