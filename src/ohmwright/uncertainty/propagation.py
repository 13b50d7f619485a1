"""Propagation of uncertainty: the linear budget, or Monte Carlo where it is not valid."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from ohmwright.uncertainty.budget import Budget, ExpandedUncertainty, second_order_variance
from ohmwright.uncertainty.inputs import Correlations, Input
from ohmwright.uncertainty.montecarlo import linear_is_valid, simulate_adaptively

NONLINEAR_SHARE = 0.02
"""Above this share of the variance, the next terms of the Taylor series call for a test."""
DOMINANT_SHARE = 0.5
"""Above this share of the variance, one input that is not normal calls for a test."""
FEWEST_DOF = 5.0
SEED = 101
"""Seed of every simulation, so that a result can be computed again to the last digit."""
FEWEST_TRIALS = 1_000_000
"""Trials that determine the ends of the interval to 0.3 % of u, finer than the digits compared."""

MeasurementModel = Callable[..., Any]
"""Takes a float for each input and returns one, or arrays of one shape likewise."""
Propagation = Literal["linear", "Monte Carlo"]


@dataclass(frozen=True, slots=True)
class PropagatedValue:
    """A result, its standard and expanded uncertainty, and how they were propagated."""

    value: float
    standard_uncertainty: float
    expanded: ExpandedUncertainty
    propagation: Propagation


def propagate(
    model: MeasurementModel,
    inputs: Sequence[Input],
    budget: Budget,
    correlations: Correlations | None = None,
    coverage: float = 0.95,
) -> PropagatedValue:
    """Return the result of `budget`, or that of Monte Carlo where the linear budget is not valid.

    Simulated only where `is_clearly_linear` is false. If the simulated interval then differs by the
    comparison of JCGM 101 clause 8, it is returned, with half its width as expanded uncertainty.
    """
    linear = PropagatedValue(
        budget.value, budget.standard_uncertainty, budget.expanded(coverage), "linear"
    )
    if is_clearly_linear(model, inputs, budget):
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
    expanded = ExpandedUncertainty(half_width, half_width / trials.standard_uncertainty)
    return PropagatedValue(trials.mean, trials.standard_uncertainty, expanded, "Monte Carlo")


def is_clearly_linear(model: MeasurementModel, inputs: Sequence[Input], budget: Budget) -> bool:
    """Whether the linear budget is taken without a simulation.

    It is where the next terms of the Taylor series add at most 2 % to the variance and no input
    that is neither normal nor Student's t makes over half of it. It is also where an input has
    fewer than five degrees of freedom: the variance of such draws hardly converges, and Welch and
    Satterthwaite's formula allows for it.
    """
    variance = budget.standard_uncertainty**2
    if variance == 0.0 or min(item.dof for item in inputs) < FEWEST_DOF:
        return True
    shapes = ("normal", "student t")
    other_shapes = (x.contribution**2 for x in budget.lines if x.input.distribution not in shapes)
    if max(other_shapes, default=0.0) > DOMINANT_SHARE * variance:
        return False
    return abs(second_order_variance(model, inputs)) <= NONLINEAR_SHARE * variance
