"""Measured values: a settled current becomes a current or a power with its uncertainty budget.

The measurand is the current that flows in the connected load resistance, or the power in it,
P = I² R. A current has no line for the load; a power has one, correlated with the meter's where
the certificate says that both come from one reference. Effects that no data are given for are
listed with the value.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from math import isinf, sqrt
from typing import Any

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.model.step import Timing
from ohmwright.uncertainty.budget import Budget, combine
from ohmwright.uncertainty.inputs import Correlations, Input, resolution_uncertainty
from ohmwright.uncertainty.propagation import propagate

from .accuracy import Accuracy, left_out

COVERAGE = 0.95
"""Coverage probability of expanded uncertainties."""
READINGS, CAPTURES = "readings", "captures"
"""Labels of the lines for the scatter of what was measured, of type A."""
ESTIMATED, EXTRAPOLATED = "lag, droop and hunting", "extrapolation"
"""Labels of the lines for what the readings leave unsure besides: as estimated, type A, and what
was not seen, type B."""
_TYPE_A = (READINGS, CAPTURES, ESTIMATED)


def linear_measured_value(
    settled: Settled, quantity: Quantity, load_ohm: float, timing: Timing, accuracy: Accuracy | None
) -> Measured:
    """Return the settled current as `quantity`, by the linear budget alone.

    Quick enough to be called while RF is on; what the budget leaves out is not named. Type A is
    the estimator's uncertainty, which includes autocorrelation and the remainder of the lag, and at
    least the resolution's. Without `accuracy` the budget has no other line.
    """
    return measured_of_budget(
        _budget(_measurement_model(settled, quantity, load_ohm, accuracy)), quantity, timing.age_s
    )


def measured_value(
    settled: Settled, quantity: Quantity, load_ohm: float, timing: Timing, accuracy: Accuracy | None
) -> Measured:
    """Return the settled current as `quantity`, by Monte Carlo where a linear budget is not valid.

    `uncertainty.propagation` tests that. Budget and type A are those of `linear_measured_value`.
    """
    problem = _measurement_model(settled, quantity, load_ohm, accuracy)
    budget = _budget(problem)
    result = propagate(problem.model, problem.inputs, budget, problem.correlations, COVERAGE)
    lacks = left_out(quantity, load_ohm, accuracy)
    return measured_of_budget(budget, quantity, timing.age_s, lacks).model_copy(
        update={
            "value": result.value,
            "uncertainty": result.standard_uncertainty,
            "expanded": result.expanded.uncertainty,
            "coverage_factor": result.expanded.coverage_factor,
            "propagation": result.propagation,
        }
    )


@dataclass(frozen=True)
class _MeasurementModel:
    """A measurement model with its inputs, the reading first, and its derivatives by them."""

    model: Callable[..., Any]
    sensitivities: tuple[float, ...]
    inputs: tuple[Input, ...]
    correlations: Correlations | None = None


def _measurement_model(
    settled: Settled, quantity: Quantity, load_ohm: float, accuracy: Accuracy | None
) -> _MeasurementModel:
    current_ma = settled.value
    readings = _readings_inputs(settled, accuracy)
    meter = () if accuracy is None else accuracy.current_lines(current_ma, load_ohm)
    if quantity != "power_w":
        inputs = (*readings, *meter)
        return _MeasurementModel(_sum_ma, (1.0,) * len(inputs), inputs)
    load = () if accuracy is None else accuracy.load_lines(load_ohm)
    per_ma, per_ohm = 2e-6 * current_ma * load_ohm, 1e-6 * current_ma**2
    currents = len(readings) + len(meter)
    return _MeasurementModel(
        partial(_power_w, load_ohm, currents),
        (per_ma,) * currents + (per_ohm,) * len(load),
        (*readings, *meter, *load),
        None if accuracy is None else accuracy.correlations,
    )


def _readings_inputs(settled: Settled, accuracy: Accuracy | None) -> tuple[Input, ...]:
    """Return what the readings leave unsure, in mA, by cause; the value is the first input's.

    Their scatter, at least the meter's last digit; lag, droop and hunting as the readings and what
    was known before tell them; and what was extrapolated.
    """
    u_ma = settled.uncertainty if settled.scatter is None else settled.scatter
    estimated_ma = sqrt(max(0.0, settled.uncertainty**2 - u_ma**2 - settled.extrapolation**2))
    if accuracy is not None:
        u_ma = max(u_ma, resolution_uncertainty(accuracy.resolution_ma(settled.value)))
    return (
        Input(READINGS, settled.value, u_ma, settled.dof, "student t"),
        Input(ESTIMATED, 0.0, estimated_ma, settled.dof, "student t"),
        Input(EXTRAPOLATED, 0.0, settled.extrapolation),
    )


def _sum_ma(*currents_ma: Any) -> Any:
    return sum(currents_ma)


def _power_w(load_ohm: float, currents: int, *inputs: Any) -> Any:
    """Return P = I² R in W; the first `currents` of `inputs` add up to I in mA, the rest to R."""
    return (sum(inputs[:currents]) / 1000) ** 2 * (load_ohm + sum(inputs[currents:]))


def _budget(problem: _MeasurementModel) -> Budget:
    value = float(problem.model(*(item.value for item in problem.inputs)))
    return combine(value, problem.inputs, problem.sensitivities, problem.correlations)


def measured_of_budget(
    budget: Budget, quantity: Quantity, age_s: float, left_out: tuple[str, ...] | None = None
) -> Measured:
    """Return the budget's value with its lines, expanded at 95 %, as a result keeps it.

    Lines labelled `READINGS`, `CAPTURES` and `ESTIMATED` are type A.
    `left_out`: names of the effects that the budget lacks; None where nobody asks.
    """
    expanded = budget.expanded(COVERAGE)
    return Measured(
        quantity=quantity,
        value=budget.value,
        uncertainty=budget.standard_uncertainty,
        dof=min(budget.effective_dof, AMPLE_DOF),
        age_s=age_s,
        expanded=expanded.uncertainty,
        coverage_factor=expanded.coverage_factor,
        budget=tuple(
            BudgetEntry(
                source=line.input.label,
                evaluation="A" if line.input.label in _TYPE_A else "B",
                standard_uncertainty=abs(line.contribution),
                dof=None if isinf(line.input.dof) else line.input.dof,
                shared=line.input.shared,
            )
            for line in budget.lines
            if line.contribution != 0
        ),
        left_out=left_out,
        correlation=next(iter((budget.correlations or {}).values()), None),
    )
