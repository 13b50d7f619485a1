"""Measured values: a settled current becomes a current or a power with its uncertainty budget.

The measurand is the current that flows in the connected load resistance, or the power in it,
P = I² R. A current has no line for the load; a power has one, correlated with the meter's where
the certificate says that both come from one reference. Effects that no data are given for are
listed with the value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import partial
from math import isinf, sqrt
from typing import Any

from ohmwright.estimation.settled_value import Settled
from ohmwright.model.analyzer_certificate import AnalyzerCertificate, Drift
from ohmwright.model.quantity import Quantity
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.model.step import Timing
from ohmwright.uncertainty.budget import Budget, combine, propagate
from ohmwright.uncertainty.inputs import (
    Correlations,
    Input,
    accuracy_input,
    rectangular,
    resolution_uncertainty,
)
from ohmwright.uncertainty.montecarlo import drawn_deviation

from .influences import NOTHING_STATED, Effect, Effects

COVERAGE = 0.95
"""Coverage probability of expanded uncertainties."""
METER, LOAD = "meter accuracy", "load resistance"
"""Labels of the lines that only a certificate gives."""
_METER_DRIFT, _LOAD_DRIFT = "meter drift", "load drift"
_DAYS_A_YEAR = 365.25
READINGS, CAPTURES = "readings", "captures"
"""Labels of the lines for the scatter of what was measured, of type A."""
ESTIMATED, EXTRAPOLATED = "lag, droop and hunting", "extrapolation"
"""Labels of the lines for lag and droop: as estimated, type A; by what was not seen, type B."""
DATED = "age told by a person"
"""Label of the line for ages that a person told: droop within the time by which they may be off."""
FROM_READINGS = frozenset((READINGS, ESTIMATED, EXTRAPOLATED, DATED))
"""Labels of the lines that come of the readings of a current; no certificate gives them."""
_TYPE_A = (READINGS, CAPTURES, ESTIMATED)
UNCOVERED = "that the analyzer's certificate covers"
"""How the clause ends that says of a current that it lies beyond the certificate's ranges."""


@dataclass(frozen=True)
class Accuracy:
    """Accuracy of an analyzer's readings on one day, by its certificate and what else is stated."""

    certificate: AnalyzerCertificate
    on: date
    """The day; drift counts from the certificate's date to it."""
    effects: Effects = NOTHING_STATED
    """On readings in one mode into one load."""

    def current_lines(self, current_ma: float) -> tuple[Input, ...]:
        """Return the inputs for accuracy, drift and effects at a reading, in mA about zero."""
        stated, size_ma = self.certificate.range_of(current_ma), abs(current_ma)
        accuracy_ma = size_ma * stated.percent / 100 + stated.floor_ma
        shared = self._shared(METER, f"to {stated.up_to_ma:g} mA")
        drift = self.certificate.drift.current_percent_per_year
        return (
            self._accuracy_input(METER, accuracy_ma, stated.coverage_factor, shared),
            *self._drift_line(_METER_DRIFT, size_ma, drift),
            *self._effect_lines(self.effects.on_current, size_ma),
            *self._reconnection_line(size_ma),
        )

    def load_lines(self, load_ohm: float) -> tuple[Input, ...]:
        """Return the inputs for the load's accuracy, drift and effects, in ohm about zero."""
        stated, load = self.certificate.load, f"{load_ohm:g} ohm"
        accuracy_ohm, shared = load_ohm * stated.percent / 100, self._shared(LOAD, load)
        drift = self.certificate.drift.load_percent_per_year
        return (
            self._accuracy_input(LOAD, accuracy_ohm, stated.coverage_factor, shared),
            *self._drift_line(_LOAD_DRIFT, load_ohm, drift, load),
            *self._effect_lines(self.effects.on_load, load_ohm),
        )

    @property
    def correlations(self) -> Correlations | None:
        """Correlation of meter and load accuracy; None where the certificate states none."""
        correlation = self.certificate.current_load_correlation
        return {(METER, LOAD): correlation} if correlation != 0 else None

    def resolution_ma(self, current_ma: float) -> float:
        """Return the value of the last digit of a reading, in mA."""
        return self.certificate.range_of(current_ma).resolution_ma

    def _shared(self, name: str, same_in: str = "") -> str:
        return f"{name} {same_in}".rstrip() + f", {self.certificate.number}"

    def _accuracy_input(
        self, label: str, accuracy: float, coverage_factor: float | None, shared: str
    ) -> Input:
        """Return an accuracy as an input; one that is correlated as normal, to be drawn so."""
        known = accuracy_input(label, accuracy, coverage_factor, shared)
        return known if self.correlations is None else replace(known, distribution="normal")

    def _drift_line(
        self, name: str, size: float, percent_per_year: float | None, same_in: str = ""
    ) -> Iterator[Input]:
        if percent_per_year is not None:
            years = max(0.0, (self.on - self.certificate.calibrated_on).days / _DAYS_A_YEAR)
            limit = size * years * percent_per_year / 100
            yield rectangular(name, 0.0, limit, self._shared(name, same_in))

    def _effect_lines(self, effects: Iterable[Effect], size: float) -> Iterator[Input]:
        for name, limit, same_in in effects:
            yield rectangular(name, 0.0, size * limit, self._shared(name, same_in))

    def _reconnection_line(self, size_ma: float) -> Iterator[Input]:
        scatter = self.effects.reconnection
        if scatter is not None:
            u_ma = size_ma * scatter.uncertainty
            yield Input("reconnection", 0.0, u_ma, scatter.dof, "student t")


def beyond_certificate(accuracy: Accuracy | None, current_ma: float) -> str:
    """Why the certificate says nothing of a current, as a clause; empty where it does, or is none.

    A unit may give more than was asked for, and of a sweep nobody knows before what flows.
    """
    if accuracy is None:
        return ""
    most_ma = accuracy.certificate.current[-1].up_to_ma
    if abs(current_ma) <= most_ma:
        return ""
    return f"not traceable: {current_ma:.0f} mA is over the {most_ma:g} mA {UNCOVERED}"


def left_out(quantity: Quantity, accuracy: Accuracy | None) -> tuple[str, ...]:
    """Return the names of the effects that a budget of `quantity` leaves out for want of data."""
    effects = NOTHING_STATED if accuracy is None else accuracy.effects
    drift = Drift() if accuracy is None else accuracy.certificate.drift
    names = [] if accuracy is not None else [METER]
    names += [_METER_DRIFT] if drift.current_percent_per_year is None else []
    names += effects.lacking_on_current
    if quantity == "power_w":
        names += [] if accuracy is not None else [LOAD]
        names += [_LOAD_DRIFT] if drift.load_percent_per_year is None else []
        names += effects.lacking_on_load
    return tuple(names)


def linear_measured_value(
    settled: Settled, quantity: Quantity, load_ohm: float, timing: Timing, accuracy: Accuracy | None
) -> Measured:
    """Return the settled current as `quantity`, by the linear budget alone.

    It is quick enough for readings with RF on, and does not name what the budget leaves out. Type A
    is the estimator's uncertainty, autocorrelation and remainder of the lag included, at least that
    of the resolution. Without `accuracy` the budget has no other line.
    """
    return measured_of_budget(
        _budget(_measurement_model(settled, quantity, load_ohm, accuracy)), quantity, timing.age_s
    )


def measured_value(
    settled: Settled, quantity: Quantity, load_ohm: float, timing: Timing, accuracy: Accuracy | None
) -> Measured:
    """Return the settled current as `quantity`, by Monte Carlo where a linear budget is not valid.

    `uncertainty.budget` tests that. Budget and type A are those of `linear_measured_value`.
    """
    problem = _measurement_model(settled, quantity, load_ohm, accuracy)
    budget = _budget(problem)
    result = propagate(problem.model, problem.inputs, budget, problem.correlations, COVERAGE)
    lacks = left_out(quantity, accuracy)
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
    meter = () if accuracy is None else accuracy.current_lines(current_ma)
    if quantity != "power_w":
        inputs = (*readings, *meter)
        return _MeasurementModel(_sum_ma, (1.0,) * len(inputs), inputs)
    load = () if accuracy is None else accuracy.load_lines(load_ohm)
    per_ma, per_ohm = power_sensitivities(current_ma, load_ohm)
    currents = len(readings) + len(meter)
    return _MeasurementModel(
        partial(_power_w, load_ohm, currents),
        (per_ma,) * currents + (per_ohm,) * len(load),
        (*readings, *meter, *load),
        None if accuracy is None else accuracy.correlations,
    )


def power_sensitivities(current_ma: float, load_ohm: float) -> tuple[float, float]:
    """Return how P = I² R changes with I, in W per mA, and with R, in W per ohm."""
    return 2e-6 * current_ma * load_ohm, 1e-6 * current_ma**2


def _readings_inputs(settled: Settled, accuracy: Accuracy | None) -> tuple[Input, ...]:
    """Return the inputs of the settled current, in mA; the first has its value, the others 0.

    They are the readings' scatter, at least the meter's last digit; lag, droop and hunting as
    estimated; what was extrapolated; and ages that a person told.
    """
    u_ma = settled.uncertainty if settled.scatter is None else settled.scatter
    elsewhere_ma2 = u_ma**2 + settled.extrapolation**2 + settled.dating**2
    estimated_ma = sqrt(max(0.0, settled.uncertainty**2 - elsewhere_ma2))
    if accuracy is not None:
        u_ma = max(u_ma, resolution_uncertainty(accuracy.resolution_ma(settled.value)))
    return (
        Input(READINGS, settled.value, u_ma, settled.dof, "student t", scatter=READINGS),
        Input(ESTIMATED, 0.0, estimated_ma, settled.dof, "student t", scatter=READINGS),
        Input(EXTRAPOLATED, 0.0, settled.extrapolation),
        *_dating_input(settled),
    )


def _dating_input(settled: Settled) -> tuple[Input, ...]:
    if settled.dating == 0:
        return ()
    return (rectangular(DATED, 0.0, sqrt(3) * settled.dating),)


def part_of_u(line: BudgetEntry, measured: Measured) -> float:
    """Return what a line of a value's budget adds to its u, in the value's unit.

    Monte Carlo draws every line with finite degrees of freedom from Student's t.
    """
    if measured.propagation == "linear" or line.dof is None:
        return line.standard_uncertainty
    return drawn_deviation(line.standard_uncertainty, line.dof)


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
