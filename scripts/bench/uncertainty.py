"""Monte Carlo, uncertainty budgets and false accept probability beside their references.

Run: python scripts/bench/uncertainty.py [seed]
"""

import math
import sys
from typing import Any

import numpy as np
from scipy.special import ndtr
from scipy.stats import multivariate_normal
from uncertainties import ufloat

from ohmwright.uncertainty import risk
from ohmwright.uncertainty.budget import Budget, combine
from ohmwright.uncertainty.inputs import Input, rectangular
from ohmwright.uncertainty.montecarlo import Trials, simulate_adaptively
from scripts.bench.sidebyside import Row, compare, repeated, report

TRIALS = 1_000_000
RISK_POINTS = 20_000
REFERENCE_RISK_POINTS = 300


def power(current: Any, load: Any, gain: Any, load_factor: Any, offset: Any) -> Any:
    """P = I^2 R with a meter gain and offset and a load tolerance."""
    return (current * gain + offset) ** 2 * (load * load_factor)


def inputs() -> tuple[Input, ...]:
    """The five inputs, made anew as a caller would."""
    return (
        Input("I", 1.0, 0.002, 11, "student t"),
        Input("R", 300.0, 0.6),
        Input("gain", 1.0, 0.003),
        rectangular("load factor", 1.0, 0.01),
        Input("offset", 0.0, 0.0005),
    )


NORMAL = (
    Input("I", 1.0, 0.002),
    Input("R", 300.0, 0.6),
    Input("gain", 1.0, 0.003),
    rectangular("load factor", 1.0, 0.01),
    Input("offset", 0.0, 0.0005),
)


def ours_simulated(seed: int) -> Trials:
    """Ours: values in order, mean, u, interval, and whether every figure has settled."""
    trials = simulate_adaptively(power, NORMAL, seed, fewest_trials=TRIALS)
    trials.symmetric_interval()
    return trials


def plain_simulated(seed: int) -> tuple[float, float, float, float]:
    """Reference: plain numpy draws, model, sort, mean, sd and two order statistics."""
    rng = np.random.default_rng(seed)
    values = power(
        rng.normal(1.0, 0.002, TRIALS),
        rng.normal(300.0, 0.6, TRIALS),
        rng.normal(1.0, 0.003, TRIALS),
        rng.uniform(0.99, 1.01, TRIALS),
        rng.normal(0.0, 0.0005, TRIALS),
    )
    values.sort()
    low, high = values[int(0.025 * TRIALS)], values[int(0.975 * TRIALS)]
    return float(values.mean()), float(values.std(ddof=1)), float(low), float(high)


def ours_budget() -> Budget:
    """Ours: inputs, budget, expanded uncertainty."""
    items = inputs()
    current, load, gain, factor, offset = (item.value for item in items)
    seen = current * gain + offset
    per_seen = 2 * seen * load * factor
    per_load = seen**2
    budget = combine(
        per_load * load * factor,
        items,
        (per_seen * gain, per_load * factor, per_seen * current, per_load * load, per_seen),
    )
    budget.expanded()
    return budget


def uncertainties_budget() -> float:
    """Reference: the same with `uncertainties`, which has no dof or coverage factor."""
    result = power(
        ufloat(1.0, 0.002),
        ufloat(300.0, 0.6),
        ufloat(1.0, 0.003),
        ufloat(1.0, 0.01 / math.sqrt(3.0)),
        ufloat(0.0, 0.0005),
    )
    return float(result.std_dev)


def risk_points(seed: int, count: int) -> tuple[Any, Any, Any]:
    """Shares in tolerance, test uncertainty ratios, acceptance multipliers."""
    rng = np.random.default_rng(seed)
    return rng.uniform(0.6, 0.99, count), rng.uniform(1.0, 10.0, count), rng.uniform(0.7, 1, count)


def bivariate_false_accepts(shares: Any, ratios: Any, multipliers: Any) -> Any:
    """Reference: one call of scipy's bivariate normal a point."""
    priors, errors = risk.population_sd(shares), 1.0 / (2.0 * ratios)
    both = np.empty(len(shares))
    for index, (prior, error, limit) in enumerate(zip(priors, errors, multipliers, strict=True)):
        covariance = [[prior**2, prior**2], [prior**2, prior**2 + error**2]]
        both[index] = multivariate_normal.cdf(
            [1.0, limit], [0.0, 0.0], covariance, lower_limit=[-1.0, -limit]
        )
    spread = np.hypot(priors, errors)
    return ndtr(multipliers / spread) - ndtr(-multipliers / spread) - both


def main() -> None:
    """Measure and print."""
    seed = int(sys.argv[1]) if len(sys.argv) > 1 else 1
    few, many = risk_points(seed, REFERENCE_RISK_POINTS), risk_points(seed, RISK_POINTS)
    rows: list[Row] = [
        compare(
            "Monte Carlo, 10^6 trials / plain numpy and sort",
            lambda: ours_simulated(seed),
            lambda: plain_simulated(seed),
            1.15,
        ),
        compare(
            "one linear budget / uncertainties",
            repeated(ours_budget, 500),
            repeated(uncertainties_budget, 500),
            1.0,
            ours_units=500,
            reference_units=500,
        ),
        compare(
            "false accept, a point / scipy bivariate normal",
            lambda: risk.false_accept(*many),
            lambda: bivariate_false_accepts(*few),
            0.01,
            ours_units=RISK_POINTS,
            reference_units=REFERENCE_RISK_POINTS,
        ),
    ]
    differences = risk.false_accept(*few) - bivariate_false_accepts(*few)
    first, second = ours_simulated(seed), ours_simulated(seed)
    report(
        rows,
        false_accept_largest_difference=float(np.abs(differences).max()),
        monte_carlo_bit_identical=first.ordered.tobytes() == second.ordered.tobytes(),
    )


if __name__ == "__main__":
    main()
