"""Differences of two values of one analyzer: what both are off by hardly counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, sqrt

from ohmwright.model.result import BudgetEntry, Measured
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
    uncertainty = sqrt(max(0.0, variance))
    spread = _spread(_lines_alone(first, second)) + _spread(_lines_alone(second, first))
    dof = uncertainty**4 / spread if spread > 0 else inf
    return Difference(first.value - second.value, uncertainty, dof)


def _spread(lines: Sequence[BudgetEntry]) -> float:
    """Return the sum of squared variance over degrees of freedom, of lines of one value."""
    variances: dict[str, tuple[float, float]] = {}
    for line in lines:
        if line.dof is not None:
            of_one = READINGS if line.source == ESTIMATED else line.source
            before, dof = variances.get(of_one, (0.0, line.dof))
            variances[of_one] = before + line.standard_uncertainty**2, min(dof, line.dof)
    return sum(variance**2 / dof for variance, dof in variances.values())


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
