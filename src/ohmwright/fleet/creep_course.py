"""The course of one point of one unit: its values on record, and what is to be expected ahead."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from .creep_model import FloatArray
from .creep_table import CreepRow
from .fleet_forecast import FleetForecast, PointForecast
from .years import date_of, years_of

AHEAD_YEARS = 2.0
"""How far ahead of today a course reaches."""
SHARES = (0.05, 0.25, 0.75, 0.95)
"""Quantiles of the true value: ends of the intervals of 90 and 50 %."""
_STEPS = 40


@dataclass(frozen=True, slots=True)
class SeenValue:
    """One value on record, in the unit of its quantity."""

    at: datetime
    value: float
    uncertainty: float
    """Standard."""
    adjusted: bool
    """Whether it is the first after an adjustment."""


@dataclass(frozen=True, slots=True)
class ExpectedValue:
    """The true value to be expected at a time, in the unit of its quantity."""

    at: datetime
    middle: float
    quantiles: tuple[float, ...]
    """At `SHARES`."""


@dataclass(frozen=True, slots=True)
class CreepCourse:
    """What was seen of a point of a unit, and what is expected."""

    seen: tuple[SeenValue, ...]
    ahead: tuple[ExpectedValue, ...]
    """From the last value on."""


def creep_course(forecast: FleetForecast, row: CreepRow, at: datetime) -> CreepCourse:
    """Return the course of the point of `row`, until `AHEAD_YEARS` after `at`."""
    point = point_of(forecast, row)
    index = point.of.assets.index(row.asset)
    seen, limits = point.of.seen, row.limits
    known = seen.known[index]
    figures = (seen.times, seen.values, seen.uncertainties, seen.adjusted)
    columns = (each[index][known].tolist() for each in figures)
    values = (
        SeenValue(date_of(time), limits.value_of(value), limits.half * u, bool(adjusted))
        for time, value, u, adjusted in zip(*columns, strict=True)
    )
    times = times_ahead(point, index, at)
    expected = expected_ahead(point, index, times)
    ahead = (
        ExpectedValue(
            date_of(time), limits.value_of(middle), tuple(map(limits.value_of, quantiles))
        )
        for time, (middle, *quantiles) in zip(times.tolist(), expected.tolist(), strict=True)
    )
    return CreepCourse(tuple(values), tuple(ahead))


def point_of(forecast: FleetForecast, row: CreepRow) -> PointForecast:
    """Return the forecast of the point of `row`."""
    named = (row.model, row.step, row.point)
    return next(
        one for one in forecast.points if (one.of.model, one.of.step, one.of.point) == named
    )


def times_ahead(point: PointForecast, index: int, at: datetime) -> FloatArray:
    """Return times from the last value of a unit until `AHEAD_YEARS` after `at`, in years."""
    begin = float(point.states.times[index])
    return np.linspace(begin, max(years_of(at), begin) + AHEAD_YEARS, _STEPS)


def expected_ahead(point: PointForecast, index: int, times: FloatArray) -> FloatArray:
    """Return mean and quantiles at `SHARES` of a unit's deviation, in tolerances: (times, 5)."""
    found = []
    for time in times.tolist():
        truth = point.truth(np.full(len(point.of.assets), time)).of_unit(index)
        quantiles = [float(truth.quantile(share)[0]) for share in SHARES]
        found.append([float(truth.mean()[0]), *quantiles])
    return np.array(found)
