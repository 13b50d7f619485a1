"""Measured values: a settled current becomes a current or a power with its uncertainty budget.

The measurand is the current that flows in the connected load resistance, or the power in it,
P = I² R. A current has no line for the load; a power has one, correlated with the meter's where
the certificate says that both come from one reference.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from functools import partial
from math import isinf, sqrt
from typing import Any

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.model.step import Timing
from ohmwright.uncertainty.budget import Budget, combine
from ohmwright.uncertainty.inputs import (
    Correlations,
    Distribution,
    Input,
    rectangular,
    resolution_uncertainty,
)
from ohmwright.uncertainty.propagation import propagate

COVERAGE = 0.95
"""Coverage probability of expanded uncertainties."""
READINGS = "readings"
"""Label of the type A line of a budget."""
_METER, _LOAD = "meter accuracy", "load resistance"
_DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Accuracy:
    """Accuracy of an analyzer's readings on one day, by its certificate."""

    certificate: AnalyzerCertificate
    on: date
    """The day; drift counts from the certificate's date to it."""

    def current_lines(self, current_ma: float) -> tuple[Input, ...]:
        """Return the inputs for the meter's accuracy and drift at a reading, in mA about zero."""
        stated, drift = self.certificate.range_of(current_ma), self.certificate.drift
        accuracy_ma = abs(current_ma) * stated.percent / 100 + stated.floor_ma
        drift_ma = abs(current_ma) * self._years * drift.current_percent_per_year / 100
        return (
            _accuracy_input(_METER, accuracy_ma, stated.coverage_factor, self._is_correlated),
            rectangular("meter drift", 0.0, drift_ma),
        )

    def load_lines(self, load_ohm: float) -> tuple[Input, ...]:
        """Return the inputs for the load's accuracy and drift, in ohm about zero."""
        stated, drift = self.certificate.load, self.certificate.drift
        accuracy_ohm = load_ohm * stated.percent / 100
        drift_ohm = load_ohm * self._years * drift.load_percent_per_year / 100
        return (
            _accuracy_input(_LOAD, accuracy_ohm, stated.coverage_factor, self._is_correlated),
            rectangular("load drift", 0.0, drift_ohm),
        )

    @property
    def correlations(self) -> Correlations | None:
        """Correlation of meter and load accuracy; None where the certificate states none."""
        return (
            {(_METER, _LOAD): self.certificate.current_load_correlation}
            if self._is_correlated
            else None
        )

    def resolution_ma(self, current_ma: float) -> float:
        """Return the value of the last digit of a reading, in mA."""
        return self.certificate.range_of(current_ma).resolution_ma

    @property
    def _is_correlated(self) -> bool:
        return self.certificate.current_load_correlation != 0

    @property
    def _years(self) -> float:
        return max(0.0, (self.on - self.certificate.calibrated_on).days / _DAYS_A_YEAR)


def _accuracy_input(
    label: str, accuracy: float, coverage_factor: float | None, correlated: bool
) -> Input:
    """Return an accuracy as an input about zero: normal with its k, without one rectangular.

    A correlated one is taken as normal: only normal inputs can be drawn together.
    """
    divisor = sqrt(3.0) if coverage_factor is None else coverage_factor
    shape: Distribution = "rectangular" if coverage_factor is None and not correlated else "normal"
    return Input(label, 0.0, accuracy / divisor, distribution=shape)


def linear_measured_value(
    settled: Settled, quantity: Quantity, load_ohm: float, timing: Timing, accuracy: Accuracy | None
) -> Measured:
    """Return the settled current as `quantity`, by the linear budget alone.

    Quick enough to be called while RF is on. Type A is the estimator's uncertainty, which includes
    autocorrelation and the remainder of the lag, and at least the resolution's. Without `accuracy`
    the budget has no other line.
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
    return measured_of_budget(budget, quantity, timing.age_s).model_copy(
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
    readings = _readings_input(settled, accuracy)
    meter = () if accuracy is None else accuracy.current_lines(current_ma)
    if quantity != "power_w":
        inputs = (readings, *meter)
        return _MeasurementModel(_sum_ma, (1.0,) * len(inputs), inputs)
    load = () if accuracy is None else accuracy.load_lines(load_ohm)
    per_ma, per_ohm = 2e-6 * current_ma * load_ohm, 1e-6 * current_ma**2
    return _MeasurementModel(
        partial(_power_w, load_ohm, 1 + len(meter)),
        (per_ma,) * (1 + len(meter)) + (per_ohm,) * len(load),
        (readings, *meter, *load),
        None if accuracy is None else accuracy.correlations,
    )


def _readings_input(settled: Settled, accuracy: Accuracy | None) -> Input:
    u_ma = settled.uncertainty
    if accuracy is not None:
        u_ma = max(u_ma, resolution_uncertainty(accuracy.resolution_ma(settled.value)))
    return Input(READINGS, settled.value, u_ma, settled.dof, "student t")


def _sum_ma(*currents_ma: Any) -> Any:
    return sum(currents_ma)


def _power_w(load_ohm: float, currents: int, *inputs: Any) -> Any:
    """Return P = I² R in W; the first `currents` of `inputs` add up to I in mA, the rest to R."""
    return (sum(inputs[:currents]) / 1000) ** 2 * (load_ohm + sum(inputs[currents:]))


def _budget(problem: _MeasurementModel) -> Budget:
    value = float(problem.model(*(item.value for item in problem.inputs)))
    return combine(value, problem.inputs, problem.sensitivities, problem.correlations)


def measured_of_budget(budget: Budget, quantity: Quantity, age_s: float) -> Measured:
    """Return the budget's value with its lines, expanded at 95 %, as a result keeps it.

    Lines labelled `READINGS` are type A: what a verdict takes for the scatter of the readings.
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
                evaluation="A" if line.input.label == READINGS else "B",
                standard_uncertainty=abs(line.contribution),
                dof=None if isinf(line.input.dof) else line.input.dof,
            )
            for line in budget.lines
            if line.contribution != 0
        ),
        correlation=next(iter((budget.correlations or {}).values()), None),
    )
