"""One curve less another, point by point; errors that both share nearly cancel."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass
from math import inf, sqrt
from typing import Any

from ohmwright.engine.difference import covariance
from ohmwright.model.result import Measured
from ohmwright.uncertainty.inputs import coverage_factor

from .pandas_extra import data_frame

AS_A_WHOLE = "combined"
"""Source of the one line of a value whose budget is not known, as one read from CSV."""
_COVERAGE = 0.95


@dataclass(frozen=True)
class PointDifference:
    """One curve less another at one mode, setting and load."""

    mode: str
    setting_w: float
    load_ohm: float
    difference_w: float
    expanded_w: float
    """Expanded uncertainty of the difference, of 95 % coverage."""
    coverage_factor: float
    percent: float
    """The difference in percent of the other curve's power; infinite where that is 0."""

    @property
    def certain(self) -> bool:
        """Whether the difference is larger than its expanded uncertainty."""
        return abs(self.difference_w) > self.expanded_w


@dataclass(frozen=True)
class Comparison:
    """One curve less another, at each mode, setting and load that both have."""

    points: tuple[PointDifference, ...]

    def __iter__(self) -> Iterator[PointDifference]:
        return iter(self.points)

    def __len__(self) -> int:
        return len(self.points)

    def __repr__(self) -> str:
        if not self.points:
            return "<Comparison: no point in common, nothing was compared>"
        differ = len(self.certain())
        return f"<Comparison of {len(self)} points, {differ} differ by more than U>"

    def certain(self) -> tuple[PointDifference, ...]:
        """Return the differences larger than their expanded uncertainty."""
        return tuple(point for point in self.points if point.certain)

    def to_pandas(self) -> Any:
        """Return a DataFrame, one row a point."""
        return data_frame([{**asdict(p), "certain": p.certain} for p in self.points])


def mean_difference(
    key: tuple[str, float, float],
    ours: Sequence[Measured],
    theirs: Sequence[Measured],
    *,
    shared: bool,
) -> PointDifference:
    """Return the mean of `ours` less that of `theirs`, in W (GUM 5.2.2 over every pair of values).

    `shared`: whether one analyzer measured both by one certificate, so that its errors are those of
    both. Degrees of freedom are the fewest of any of the values, which makes U rather too large
    than too small. Scatter of repeats beyond their uncertainties is not counted.
    """
    variance = sum(_variance_of_mean(values, cancels=shared) for values in (ours, theirs))
    if shared:
        variance -= 2 * _mean_covariance(ours, theirs)
    uncertainty = sqrt(max(0.0, variance))
    k = coverage_factor(min((one.dof for one in (*ours, *theirs)), default=inf), _COVERAGE)
    first, second = _mean(ours), _mean(theirs)
    return PointDifference(
        *key, first - second, k * uncertainty, k, 100 * (first / second - 1) if second else inf
    )


def _variance_of_mean(values: Sequence[Measured], *, cancels: bool) -> float:
    """Return the variance of the mean of repeats.

    Of values without a budget nobody knows which part of their errors repeats have in common. It
    may be all: then their mean is known no better than each of them. `cancels`: what they have in
    common the other curve has, too, so that the difference is without it.
    """
    whole = any(line.source == AS_A_WHOLE for one in values for line in one.budget)
    if whole and not cancels:
        return (sum(one.uncertainty for one in values) / len(values)) ** 2
    return _mean_covariance(values, values)


def _mean_covariance(first: Sequence[Measured], second: Sequence[Measured]) -> float:
    """Return the covariance of two means; a value's with itself is its variance."""
    pairs = ((a, b) for a in first for b in second)
    total = sum(a.uncertainty**2 if a is b else covariance(a, b) for a, b in pairs)
    return total / (len(first) * len(second))


def _mean(values: Sequence[Measured]) -> float:
    return sum(one.value for one in values) / len(values)
