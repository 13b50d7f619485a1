"""Linear budget or Monte Carlo? The choice, with the test that makes it."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ohmwright.uncertainty.budget import Budget, Expanded, second_order_variance
from ohmwright.uncertainty.inputs import Correlations, Input
from ohmwright.uncertainty.montecarlo import linear_is_valid, simulate_adaptively

CURVED = 0.02
"""Share of the variance that the next terms of the Taylor series may add unseen."""
DOMINANT = 0.5
"""Share of the variance that one line that is not normal may make before its shape counts."""
FEWEST_DOF = 5.0
SEED = 101
"""Of every simulation, so that a result can be computed again to the last digit."""

FEWEST_TRIALS = 1_000_000
"""So many hold the interval's ends to 0.3 % of u, finer than the digits that are compared."""

Model = Callable[..., Any]
"""Takes one float or one array an input, and gives the same."""
Propagation = Literal["linear", "Monte Carlo"]


@dataclass(frozen=True, slots=True)
class Validated:
    """A result, its standard and expanded uncertainty, and how they were got."""

    value: float
    standard_uncertainty: float
    expanded: Expanded
    propagation: Propagation


def validated(
    model: Model,
    inputs: Sequence[Input],
    budget: Budget,
    correlations: Correlations | None = None,
    coverage: float = 0.95,
) -> Validated:
    """`budget`, or the result of Monte Carlo (JCGM 101) where the linear budget does not hold.

    It is put to the test where the next terms of the Taylor series add over 2 % to the variance,
    or where one line that is not normal makes over half of it. What decides then is the
    comparison of JCGM 101 clause 8: if the simulated interval has other digits, it is reported,
    with half its width as the expanded uncertainty.
    """
    linear = Validated(
        budget.value, budget.standard_uncertainty, budget.expanded(coverage), "linear"
    )
    if surely_linear(model, inputs, budget):
        return linear
    trials = simulate_adaptively(
        model,
        inputs,
        SEED,
        coverage=coverage,
        correlations=correlations,
        fewest_trials=FEWEST_TRIALS,
    )
    if linear_is_valid(budget, trials, coverage=coverage):
        return linear
    half_width = trials.symmetric_interval(coverage).width / 2.0
    expanded = Expanded(half_width, half_width / trials.standard_uncertainty)
    return Validated(trials.mean, trials.standard_uncertainty, expanded, "Monte Carlo")


def surely_linear(model: Model, inputs: Sequence[Input], budget: Budget) -> bool:
    """Whether nothing speaks against the linear budget, so that it need not be tested.

    Student's t with fewer than five degrees of freedom hardly has a variance to simulate; Welch
    and Satterthwaite's formula serves it, and the budget stands.
    """
    variance = budget.standard_uncertainty**2
    if variance == 0.0 or min(item.dof for item in inputs) < FEWEST_DOF:
        return True
    shapes = ("normal", "student t")
    odd = (x.contribution**2 for x in budget.lines if x.input.distribution not in shapes)
    if max(odd, default=0.0) > DOMINANT * variance:
        return False
    return abs(second_order_variance(model, inputs)) <= CURVED * variance
