"""Intervals for each unit on record, and one for all units of each model."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from .creep_model import FloatArray
from .fleet_forecast import FleetForecast
from .interval_advice import AllowedIntervals, Costs, at_least_cost, by_reliability
from .point_histories import date_of


@dataclass(frozen=True, slots=True)
class UnitInterval:
    """The interval that is advised for a unit, or for all units of a model."""

    model: str
    asset: str | None
    """None for all units of the model."""
    months: float
    reliability: float
    """Probability of being in tolerance at its end; of all units, the mean."""
    held: bool
    """Whether a longer one than is allowed would reach the target, too."""
    next_visit: datetime | None
    """None for a whole model."""
    cheapest_months: float | None
    """The interval at the least cost; None where no costs are known."""


def unit_intervals(
    forecast: FleetForecast, target: float, allowed: AllowedIntervals, costs: Costs | None
) -> list[UnitInterval]:
    """Return the interval of each model and of its units, by model, then unit.

    A unit's interval is counted from its last value, in whatever state it was left then.
    """
    start = forecast.last_at
    advice = by_reliability(forecast.risk, start, target, allowed)
    cheapest = None if costs is None else at_least_cost(forecast.risk, start, costs, allowed).years
    rows = [*_of_models(forecast, target, allowed, costs)]
    for index, (asset, model) in enumerate(zip(forecast.assets, forecast.models, strict=True)):
        rows.append(
            UnitInterval(
                model,
                asset,
                12.0 * float(advice.years[index]),
                float(advice.reliability[index]),
                bool(advice.held[index]),
                date_of(float(start[index] + advice.years[index])),
                None if cheapest is None else 12.0 * float(cheapest[index]),
            )
        )
    return sorted(rows, key=lambda row: (row.model, row.asset is not None, row.months))


def _of_models(
    forecast: FleetForecast, target: float, allowed: AllowedIntervals, costs: Costs | None
) -> Iterator[UnitInterval]:
    """Yield one interval for all units of each model, by their mean risk."""
    names = sorted(set(forecast.models))
    members = np.array([[model == name for model in forecast.models] for name in names])

    def mean_risk(years: FloatArray) -> FloatArray:
        # every model has an interval of its own, which each of its units takes
        risk = forecast.risk(forecast.last_at + years @ members)
        mean: FloatArray = members @ risk / members.sum(axis=1)
        return mean

    none = np.zeros(len(names))
    advice = by_reliability(mean_risk, none, target, allowed)
    cheapest = None if costs is None else at_least_cost(mean_risk, none, costs, allowed).years
    for index, name in enumerate(names):
        yield UnitInterval(
            name,
            None,
            12.0 * float(advice.years[index]),
            float(advice.reliability[index]),
            bool(advice.held[index]),
            None,
            None if cheapest is None else 12.0 * float(cheapest[index]),
        )
