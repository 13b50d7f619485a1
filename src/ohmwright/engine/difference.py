"""Differences of two values of one analyzer: what both are off by hardly counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt

from ohmwright.model.result import BudgetEntry, Measured
from ohmwright.uncertainty.budget import effective_dof, variances_by_scatter
from ohmwright.uncertainty.inputs import coverage_factor

from .measured_value import ESTIMATED, LOAD, METER, READINGS


@dataclass(frozen=True)
class Difference:
    """A difference in the unit of its two values, with standard uncertainty and dof."""

    value: float
    uncertainty: float
    dof: float

    def expanded(self, coverage: float = 0.95) -> float:
        """Return the half-width of the symmetric interval of a coverage, by Student's t."""
        return coverage_factor(self.dof, coverage) * self.uncertainty


def difference(first: Measured, second: Measured) -> Difference:
    """Return first less second; `covariance` says which errors they share (GUM 5.2.2).

    Degrees of freedom by Welch and Satterthwaite's formula over the lines that are not shared;
    lines by the scatter of one value's readings count as one.
    """
    variance = first.uncertainty**2 + second.uncertainty**2 - 2 * covariance(first, second)
    variance = max(0.0, variance)
    parts = (*_parts(_lines_alone(first, second)), *_parts(_lines_alone(second, first)))
    return Difference(first.value - second.value, sqrt(variance), effective_dof(variance, parts))


def _parts(lines: Sequence[BudgetEntry]) -> list[tuple[float, float]]:
    """Return variance and degrees of freedom of the independent parts among lines of one value."""
    return variances_by_scatter(
        (
            READINGS if line.source in (READINGS, ESTIMATED) else "",
            line.standard_uncertainty**2,
            line.dof,
        )
        for line in lines
        if line.dof is not None
    )


def covariance(first: Measured, second: Measured) -> float:
    """Return the covariance of two values by the errors that lines of both budgets name as shared.

    Those are fully correlated and of one sign (GUM F.1.2.3): a meter that reads high raises both.
    Where meter and load have one reference, each value's meter line also goes with the load line
    of the other.
    """
    mine, yours = _shared(first), _shared(second)
    common = mine.keys() & yours.keys()
    total = sum(
        mine[name].standard_uncertainty * yours[name].standard_uncertainty for name in common
    )
    if common and first.correlation is not None and first.correlation == second.correlation:
        crossed = _size(first, METER) * _size(second, LOAD) + _size(first, LOAD) * _size(
            second, METER
        )
        total += first.correlation * crossed
    return total


def _shared(measured: Measured) -> dict[str, BudgetEntry]:
    return {line.shared: line for line in measured.budget if line.shared is not None}


def _lines_alone(measured: Measured, other: Measured) -> list[BudgetEntry]:
    """Return the lines of `measured` whose errors `other` does not have."""
    common = _shared(other)
    return [line for line in measured.budget if line.shared not in common]


def _size(measured: Measured, source: str) -> float:
    """Return the standard uncertainty of the line with that name; 0 where there is none."""
    return sum(line.standard_uncertainty for line in measured.budget if line.source == source)
