"""The uncertainty budget of a result: linear, or by Monte Carlo where that is not valid."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from ohmwright.uncertainty.inputs import (
    Correlations,
    Input,
    MeasurementModel,
    correlation_matrix,
    coverage_factor,
)
from ohmwright.uncertainty.montecarlo import Trials, numerical_tolerance, simulate_adaptively

STEPS_PER_U = 16.0
"""Derivatives are differences over a sixteenth of the standard uncertainty: far enough for the
digits of the model, near enough that its higher terms do not show."""
NONLINEAR_SHARE = 0.02
"""Above this share of the variance, the next terms of the Taylor series call for a simulation.

They make 1 % of u then, which two significant digits of U hardly show; common practice, no source.
"""
DOMINANT_SHARE = 0.5
"""Above this share of the variance, one input that is neither normal nor Student's t calls for a
simulation: the result then has its shape rather than a normal one; common practice, no source."""
FEWEST_DOF = 5.0
"""With fewer degrees of freedom the variance of draws from Student's t hardly converges: up to 2 it
is infinite, up to 4 that of its estimate is."""
SEED = 101
"""Seed of every simulation, so that a result can be computed again to the last digit."""
FEWEST_TRIALS = 1_000_000
"""Trials that determine the ends of the interval to 0.3 % of u, finer than the digits compared."""

Propagation = Literal["linear", "Monte Carlo"]


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """An input and its contribution to the result: sensitivity times standard uncertainty."""

    input: Input
    contribution: float


@dataclass(frozen=True, slots=True)
class ExpandedUncertainty:
    """An expanded uncertainty U = k u, and its coverage factor k."""

    uncertainty: float
    coverage_factor: float


@dataclass(frozen=True, slots=True)
class Budget:
    """A result, its combined standard uncertainty, effective dof, and the line of each input."""

    value: float
    standard_uncertainty: float
    effective_dof: float
    lines: tuple[BudgetLine, ...]
    correlations: Correlations | None = None

    def expanded(self, coverage: float = 0.95) -> ExpandedUncertainty:
        """Return the expanded uncertainty by Student's t with the effective dof (GUM G.3)."""
        factor = coverage_factor(self.effective_dof, coverage)
        return ExpandedUncertainty(factor * self.standard_uncertainty, factor)


@dataclass(frozen=True, slots=True)
class PropagatedValue:
    """A result, its standard and expanded uncertainty, and how they were propagated."""

    value: float
    standard_uncertainty: float
    expanded: ExpandedUncertainty
    propagation: Propagation


def combine(
    value: float,
    inputs: Sequence[Input],
    sensitivities: Sequence[float],
    correlations: Correlations | None = None,
) -> Budget:
    """Return the budget of a result whose sensitivities are given in the order of `inputs`.

    Effective degrees of freedom by Welch and Satterthwaite's formula. It holds for contributions
    and estimates of them that are independent (GUM G.4.1), so inputs that are correlated, or whose
    dof are of one scatter, are first combined into one, with the fewest dof of them.
    Raises ValueError for correlations that do not fit the inputs.
    """
    lines = tuple(
        BudgetLine(item, sensitivity * item.standard_uncertainty)
        for item, sensitivity in zip(inputs, sensitivities, strict=True)
    )
    if correlations is None:  # as nearly always, and asked for at each reading with RF on
        variances = variances_by_scatter(
            (line.input.scatter, line.contribution**2, line.input.dof) for line in lines
        )
    else:
        variances = _grouped_variances(lines, correlations)
    total = math.fsum(variance for variance, _ in variances)
    return Budget(value, math.sqrt(total), effective_dof(total, variances), lines, correlations)


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


def linear_is_valid(
    budget: Budget, trials: Trials, significant_digits: int = 2, coverage: float = 0.95
) -> bool:
    """Whether both ends of the budget's interval agree with those of `trials` (JCGM 101, 8)."""
    delta = numerical_tolerance(budget.standard_uncertainty, significant_digits)
    half_width = budget.expanded(coverage).uncertainty
    interval = trials.symmetric_interval(coverage)
    low = abs(budget.value - half_width - interval.low)
    high = abs(budget.value + half_width - interval.high)
    return max(low, high) <= delta


def second_order_variance(model: MeasurementModel, inputs: Sequence[Input]) -> float:
    """Return what the next terms of the Taylor series add to the variance (GUM 5.1.2, note).

    Sum over i, j of (f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2, for independent symmetric inputs, by
    finite differences of `model`, which is asked for arrays of all pairs at once. Where it is not
    small compared with the linear variance, the linear budget is not valid.
    """
    values = np.array([item.value for item in inputs])
    steps = np.diag([item.standard_uncertainty / STEPS_PER_U for item in inputs])
    one, other = steps[:, np.newaxis, :], steps[np.newaxis, :, :]

    def at(moves: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        return np.asarray(model(*np.moveaxis(values + moves, -1, 0)))

    up, down = at(one), at(-one)
    up_up, up_down = at(one + other), at(one - other)
    down_up, down_down = at(other - one), at(-one - other)
    slope = (up - down) / 2.0
    mixed = (up_up - up_down - down_up + down_down) / 4.0
    third = ((up_up - 2.0 * up + up_down) - (down_up - 2.0 * down + down_down)) / 2.0
    return float(np.sum(0.5 * mixed**2 + slope * third)) * STEPS_PER_U**4


def effective_dof(variance: float, parts: Iterable[tuple[float, float]]) -> float:
    """Return degrees of freedom by Welch and Satterthwaite's formula; inf where no part has any.

    `variance`: that of the value; `parts`: variance and dof of each independent part of it.
    """
    spread = math.fsum(part * part / dof for part, dof in parts)
    return variance * variance / spread if spread > 0.0 else math.inf


def variances_by_scatter(parts: Iterable[tuple[str, float, float]]) -> list[tuple[float, float]]:
    """Return variance and dof of each part; of those of one scatter together, with the fewest dof.

    `parts`: the name of its scatter, empty where it has one of its own; its variance; its dof.
    """
    own, common = list[tuple[float, float]](), dict[str, tuple[float, float]]()
    for scatter, variance, dof in parts:
        if not scatter:
            own.append((variance, dof))
        else:
            before, fewest = common.get(scatter, (0.0, dof))
            common[scatter] = before + variance, min(fewest, dof)
    return [*own, *common.values()]


def _grouped_variances(
    lines: Sequence[BudgetLine], correlations: Correlations
) -> list[tuple[float, float]]:
    """Return variance and dof of each group of inputs that are correlated or of one scatter."""
    inputs = [line.input for line in lines]
    matrix = correlation_matrix(inputs, correlations)
    scatters = [item.scatter for item in inputs]

    def go_together(i: int, j: int) -> bool:
        return matrix[i, j] != 0.0 or scatters[i] == scatters[j] != ""

    contributions = np.array([line.contribution for line in lines])
    pending, variances = set(range(len(lines))), []
    while pending:
        group = {pending.pop()}
        while joined := {j for i in group for j in pending if go_together(i, j)}:
            group |= joined
            pending -= joined
        members = sorted(group)
        part = contributions[members]
        variance = float(part @ matrix[np.ix_(members, members)] @ part)
        variances.append((max(variance, 0.0), min(lines[i].input.dof for i in members)))
    return variances
