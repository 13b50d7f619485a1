"""The results on record as histories of units, one set for each point of each model.

The rows are those of the query `creep_values` in `records/queries.py`: values as found and as left
with their limits. Where a run adjusted the unit, creep starts anew at its value as left; where the
run has none, at the unit's next value.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

import numpy as np
from sqlalchemy import Row as SqlRow

from ohmwright.model.tolerance import Target

from .creep_filter import Histories
from .years import years_of

_LEAST_U = 1e-3
"""Least standard uncertainty of a value, in tolerances, and that of one without any stated."""


@dataclass(frozen=True, slots=True)
class PointLimits:
    """Target and limits of a point for one unit, in the unit of `quantity`; `target` above zero."""

    quantity: str
    target: float
    lower: float
    upper: float

    @property
    def middle(self) -> float:
        """Halfway between the limits."""
        return 0.5 * (self.lower + self.upper)

    @property
    def half(self) -> float:
        """Half the distance between the limits, the unit of deviations: one tolerance."""
        return 0.5 * (self.upper - self.lower)

    @property
    def one_sided(self) -> bool:
        """Whether only the upper limit counts, the lower being below zero."""
        return self.lower < 0.0

    @property
    def as_target(self) -> Target:
        """The same as a target, for whoever words it."""
        return Target(quantity=self.quantity, value=self.target, lower=self.lower, upper=self.upper)

    @property
    def least(self) -> float:
        """The least that a true value can be: but for a percentage, none is below zero."""
        return -np.inf if self.quantity.endswith("_percent") else 0.0

    def value_of(self, deviation: float) -> float:
        """Return the value that lies `deviation` tolerances from the middle of the limits."""
        return self.middle + deviation * self.half


@dataclass(frozen=True, slots=True, eq=False)
class PointHistories:
    """What is on record of one point of a model: the history of each unit that has values."""

    model: str
    step: str
    point: str
    assets: tuple[str, ...]
    limits: tuple[PointLimits, ...]
    """Of each unit, as in its newest result."""
    seen: Histories


def point_histories(rows: Iterable[SqlRow[Any]], adjusted: set[int]) -> Iterator[PointHistories]:
    """Yield the histories of each point; `rows` by model, step, point and asset, then by time.

    `adjusted`: numbers of the runs that adjusted their unit.
    """
    for (model, step, point), of_point in groupby(rows, key=lambda r: (r.model, r.step, r.point)):
        units = [
            (asset, _usable(list(of_unit)))
            for asset, of_unit in groupby(of_point, key=lambda r: r.asset)
        ]
        units = [(asset, usable) for asset, usable in units if usable]
        if units:
            yield PointHistories(
                model,
                step,
                point,
                tuple(asset for asset, _ in units),
                tuple(_limits(usable[-1]) for _, usable in units),
                _histories([usable for _, usable in units], adjusted),
            )


def _usable(rows: Sequence[SqlRow[Any]]) -> list[SqlRow[Any]]:
    """Return the results that count: the last of each run and stage, of the newest quantity."""
    last = {(row.run, row.stage): row for row in rows}
    return [row for row in last.values() if row.quantity == rows[-1].quantity]


def _limits(row: SqlRow[Any]) -> PointLimits:
    return PointLimits(row.quantity, row.target, row.lower, row.upper)


def _histories(units: Sequence[Sequence[SqlRow[Any]]], adjusted: set[int]) -> Histories:
    shape = len(units), max(map(len, units))
    times, values, stated_u = np.zeros(shape), np.zeros(shape), np.zeros(shape)
    anew, known = np.zeros(shape, dtype=np.bool_), np.zeros(shape, dtype=np.bool_)
    for index, rows in enumerate(units):
        here = slice(0, len(rows))
        limits = _limits(rows[-1])
        # Errors relative to the target, so that a target or limits that were changed do no harm.
        errors = np.array([(row.value - row.target) / row.target for row in rows])
        offset, half = limits.middle / limits.target - 1.0, limits.half / limits.target
        times[index, here] = [years_of(datetime.fromisoformat(row.at)) for row in rows]
        values[index, here] = (errors - offset) / half
        relative_u = np.array([(row.uncertainty or 0.0) / row.target for row in rows])
        stated_u[index, here] = np.maximum(relative_u / half, _LEAST_U)
        anew[index, here] = _adjusted_before(rows, adjusted)
        known[index, here] = True
    return Histories(times, values, stated_u, anew, known)


def _adjusted_before(rows: Sequence[SqlRow[Any]], adjusted: set[int]) -> list[bool]:
    """Return, for each value, whether the unit was adjusted since the one before."""
    anew, adjusted_since = [], False
    for run, of_run in groupby(rows, key=lambda row: row.run):
        left_is_to_come = run in adjusted
        for row in of_run:
            if row.stage == "as_left":
                adjusted_since, left_is_to_come = adjusted_since or left_is_to_come, False
            anew.append(adjusted_since)
            adjusted_since = False
        adjusted_since = left_is_to_come  # it never came: the next run's value is the first since
    return anew
