"""Intervals for each unit on record, and one for all units of each model."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from datetime import datetime

import numpy as np
import numpy.typing as npt

from .creep_model import FloatArray
from .fleet_forecast import FleetForecast
from .interval_advice import (
    AllowedIntervals,
    Costs,
    IntervalAdvice,
    RiskAtTimes,
    at_least_cost,
    by_reliability,
)
from .worklist import PROBABLY_OUT
from .years import date_of, years_of


@dataclass(frozen=True, slots=True)
class UnitInterval:
    """The interval that is advised for a unit, or for all units of a model."""

    model: str
    asset: str | None
    """None for all units of the model."""
    months: float
    """Counted from the unit's last value; 0 for a unit that failed then, or was probably out."""
    reliability: float | None
    """Probability of being in tolerance at its end, or now for a unit that is due now; of all
    units, the mean. None for a unit that failed and has not passed since."""
    held: bool
    """Whether it is the longest that is allowed, at whose end the target is still kept."""
    next_visit: datetime | None
    """None for a whole model."""
    due_now: str
    """Why the unit is due now, whatever a visit costs; empty where it is not."""
    cheapest_months: float | None
    """The interval at the least cost; None where no costs are known."""


@dataclass(frozen=True, slots=True)
class IntervalQuestion:
    """By what intervals are to be advised."""

    target: float
    """Reliability at the end of an interval."""
    allowed: AllowedIntervals
    costs: Costs | None
    now: datetime
    failed: Collection[str] = ()
    """Units whose newest verdict is a fail."""
    withdrawn: Collection[str] = ()
    """Units that are not used any more: they get no interval, and count in none of a model."""


def unit_intervals(forecast: FleetForecast, asked: IntervalQuestion) -> list[UnitInterval]:
    """Return by model its own interval, then those of its units: due now first, shortest first.

    A unit that failed, or that is probably out of tolerance now, is due now.
    """
    rows = [*_of_models(forecast, asked), *_of_units(forecast, asked)]
    return sorted(
        rows, key=lambda row: (row.model, row.asset is not None, not row.due_now, row.months)
    )


def _of_units(forecast: FleetForecast, asked: IntervalQuestion) -> Iterator[UnitInterval]:
    start = forecast.last_at
    advice, cheapest = _advice(forecast.risk, start, asked)
    years = advice.years
    risk_now = forecast.risk(np.maximum(start, years_of(asked.now)))
    for index, (asset, model) in enumerate(zip(forecast.assets, forecast.models, strict=True)):
        if asset in asked.withdrawn:
            continue
        has_failed = asset in asked.failed
        why = "failed" if has_failed else _why_probably_out(risk_now[index])
        yield UnitInterval(
            model,
            asset,
            months=0.0 if has_failed else 12.0 * float(years[index]),
            reliability=_reliability(
                advice.reliability[index], risk_now[index], why, failed=has_failed
            ),
            held=bool(advice.held[index]) and not why,
            next_visit=asked.now if why else date_of(float(start[index] + years[index])),
            due_now=why,
            cheapest_months=_months(cheapest, index, failed=has_failed),
        )


def _advice(
    risk: RiskAtTimes, start: FloatArray, asked: IntervalQuestion
) -> tuple[IntervalAdvice, FloatArray | None]:
    """Return the intervals by the target, and those at the least cost in years."""
    advice = by_reliability(risk, start, asked.target, asked.allowed)
    if asked.costs is None:
        return advice, None
    return advice, at_least_cost(risk, start, asked.costs, asked.allowed)


def _why_probably_out(risk_now: float) -> str:
    return "probably out" if risk_now >= PROBABLY_OUT else ""


def _reliability(at_end: float, risk_now: float, why: str, *, failed: bool) -> float | None:
    """Return that at the next visit, which is now where `why` says so; None where it failed."""
    if failed:
        return None
    return float(1.0 - risk_now if why else at_end)


def _months(years: FloatArray | None, index: int, *, failed: bool) -> float | None:
    if years is None:
        return None
    return 0.0 if failed else 12.0 * float(years[index])


def _of_models(forecast: FleetForecast, asked: IntervalQuestion) -> Iterator[UnitInterval]:
    """Yield one interval for all units of each model, by their mean risk.

    Units that left their last visit out of tolerance say nothing of how long one may be.
    """
    names = sorted(set(forecast.models))
    of_model = np.array([[model == name for model in forecast.models] for name in names])
    members = of_model & _left_in_tolerance(forecast, asked)

    def mean_risk(years: FloatArray) -> FloatArray:
        # every model has an interval of its own, which each of its units takes
        risk = forecast.risk(forecast.last_at + years @ members)
        mean: FloatArray = members @ risk / np.maximum(members.sum(axis=1), 1)
        return mean

    advice, cheapest = _advice(mean_risk, np.zeros(len(names)), asked)
    for index, name in enumerate(names):
        if members[index].any():
            yield UnitInterval(
                name,
                None,
                months=12.0 * float(advice.years[index]),
                reliability=float(advice.reliability[index]),
                held=bool(advice.held[index]),
                next_visit=None,
                due_now="",
                cheapest_months=_months(cheapest, index, failed=False),
            )


def _left_in_tolerance(forecast: FleetForecast, asked: IntervalQuestion) -> npt.NDArray[np.bool_]:
    """Return which units in use were probably in tolerance at their last value."""
    left_out = {*asked.failed, *asked.withdrawn}
    used = np.array([asset not in left_out for asset in forecast.assets])
    inside: npt.NDArray[np.bool_] = used & (forecast.risk(forecast.last_at) < PROBABLY_OUT)
    return inside
