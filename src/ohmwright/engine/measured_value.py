"""From a settled value to a result with its uncertainty: budget, expansion, and how they were got.

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
READINGS = "readings"
_METER, _LOAD = "meter accuracy", "load resistance"
_DAYS_A_YEAR = 365.25


@dataclass(frozen=True)
class Accuracy:
    """What an analyzer's certificate says of its readings on one day."""

    certificate: AnalyzerCertificate
    on: date

    def current_lines(self, current_ma: float) -> tuple[Input, ...]:
        """Errors of the meter at a reading, in mA about zero."""
        stated, drift = self.certificate.range_of(current_ma), self.certificate.drift
        accuracy_ma = abs(current_ma) * stated.percent / 100 + stated.floor_ma
        drift_ma = abs(current_ma) * self._years * drift.current_percent_per_year / 100
        return (
            _stated(_METER, accuracy_ma, stated.coverage_factor, self._shared),
            rectangular("meter drift", 0.0, drift_ma),
        )

    def load_lines(self, load_ohm: float) -> tuple[Input, ...]:
        """Errors of the load resistance, in ohm about zero."""
        stated, drift = self.certificate.load, self.certificate.drift
        accuracy_ohm = load_ohm * stated.percent / 100
        drift_ohm = load_ohm * self._years * drift.load_percent_per_year / 100
        return (
            _stated(_LOAD, accuracy_ohm, stated.coverage_factor, self._shared),
            rectangular("load drift", 0.0, drift_ohm),
        )

    @property
    def correlations(self) -> Correlations | None:
        """Between meter and load bank, where the certificate states one."""
        return (
            {(_METER, _LOAD): self.certificate.current_load_correlation} if self._shared else None
        )

    def resolution_ma(self, current_ma: float) -> float:
        """The last digit of a reading."""
        return self.certificate.range_of(current_ma).resolution_ma

    @property
    def _shared(self) -> bool:
        return self.certificate.current_load_correlation != 0

    @property
    def _years(self) -> float:
        return max(0.0, (self.on - self.certificate.calibrated_on).days / _DAYS_A_YEAR)


def _stated(label: str, accuracy: float, coverage_factor: float | None, shared: bool) -> Input:
    """An accuracy with its k is normal, without one rectangular.

    What is correlated counts as normal: only normal inputs can be drawn together.
    """
    divisor = sqrt(3.0) if coverage_factor is None else coverage_factor
    shape: Distribution = "rectangular" if coverage_factor is None and not shared else "normal"
    return Input(label, 0.0, accuracy / divisor, distribution=shape)


def linear_measured_value(
    settled: Settled, quantity: Quantity, load_ohm: float, timing: Timing, accuracy: Accuracy | None
) -> Measured:
    """The settled current in `quantity` by the linear budget alone.

    Quick enough to be asked while RF is on. Type A is the estimator's own uncertainty, with its
    readings' autocorrelation and what is left of the lag, never below the resolution's. Without
    a certificate it is all there is.
    """
    return _measured(_budget(_problem(settled, quantity, load_ohm, accuracy)), quantity, timing)


def measured_value(
    settled: Settled, quantity: Quantity, load_ohm: float, timing: Timing, accuracy: Accuracy | None
) -> Measured:
    """As `linear_measured_value`, by Monte Carlo where the linear budget does not hold.

    See `uncertainty.propagation` for the test that decides.
    """
    problem = _problem(settled, quantity, load_ohm, accuracy)
    budget = _budget(problem)
    result = propagate(problem.model, problem.inputs, budget, problem.correlations, COVERAGE)
    return _measured(budget, quantity, timing).model_copy(
        update={
            "value": result.value,
            "uncertainty": result.standard_uncertainty,
            "expanded": result.expanded.uncertainty,
            "coverage_factor": result.expanded.coverage_factor,
            "propagation": result.propagation,
        }
    )


@dataclass(frozen=True)
class _Problem:
    """A measurement model and its inputs; the first is what was read."""

    model: Callable[..., Any]
    sensitivities: tuple[float, ...]
    inputs: tuple[Input, ...]
    correlations: Correlations | None = None


def _problem(
    settled: Settled, quantity: Quantity, load_ohm: float, accuracy: Accuracy | None
) -> _Problem:
    current_ma = settled.value
    readings = _readings(settled, accuracy)
    meter = () if accuracy is None else accuracy.current_lines(current_ma)
    if quantity != "power_w":
        inputs = (readings, *meter)
        return _Problem(_total, (1.0,) * len(inputs), inputs)
    load = () if accuracy is None else accuracy.load_lines(load_ohm)
    per_ma, per_ohm = 2e-6 * current_ma * load_ohm, 1e-6 * current_ma**2
    return _Problem(
        partial(_power_w, load_ohm, 1 + len(meter)),
        (per_ma,) * (1 + len(meter)) + (per_ohm,) * len(load),
        (readings, *meter, *load),
        None if accuracy is None else accuracy.correlations,
    )


def _readings(settled: Settled, accuracy: Accuracy | None) -> Input:
    u_ma = settled.uncertainty
    if accuracy is not None:
        u_ma = max(u_ma, resolution_uncertainty(accuracy.resolution_ma(settled.value)))
    return Input(READINGS, settled.value, u_ma, settled.dof, "student t")


def _total(*currents_ma: Any) -> Any:
    return sum(currents_ma)


def _power_w(load_ohm: float, currents: int, *inputs: Any) -> Any:
    """I² R of the current with its errors, and the load with its; floats or arrays."""
    return (sum(inputs[:currents]) / 1000) ** 2 * (load_ohm + sum(inputs[currents:]))


def _budget(problem: _Problem) -> Budget:
    value = float(problem.model(*(item.value for item in problem.inputs)))
    return combine(value, problem.inputs, problem.sensitivities, problem.correlations)


def _measured(budget: Budget, quantity: Quantity, timing: Timing) -> Measured:
    expanded = budget.expanded(COVERAGE)
    return Measured(
        quantity=quantity,
        value=budget.value,
        uncertainty=budget.standard_uncertainty,
        dof=min(budget.effective_dof, AMPLE_DOF),
        age_s=timing.age_s,
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
