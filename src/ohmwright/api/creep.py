"""Creep of the units on record: what is to be expected of each, and the risk for a worklist."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import numpy as np
from sqlalchemy import select

from ohmwright.fleet.fleet_forecast import FleetForecast, fleet_forecast
from ohmwright.fleet.point_histories import point_histories, years_of
from ohmwright.records.queries import adjusted_runs, creep_values, fetch_rows
from ohmwright.records.sql_store import SqlStore
from ohmwright.records.tables import NEWEST_RUNS, STORE

from .creep_cache import MONTHS, LearnedModels, RiskCurves
from .paths import forecast_folder


def recorded_forecast(
    store: SqlStore, *, simulated: bool = False, model: str | None = None
) -> FleetForecast:
    """Return what is to be expected of every unit on record, or of those of one model.

    Learning takes about a second for each point of a model; what was learned from the same values
    before is taken from the user's cache. The risks of a whole fleet are kept for
    `probability_out_now`.
    """
    learned = LearnedModels(forecast_folder())
    newest = _newest_runs(store, simulated=simulated)
    rows = fetch_rows(store.database, creep_values(simulated, model))
    adjusted = {row.run for row in fetch_rows(store.database, adjusted_runs(simulated))}
    forecast = fleet_forecast(point_histories(rows, adjusted), learned.fit)
    learned.keep()
    if model is None and forecast.assets:
        _risk_curves(forecast, newest).write(_risk_file(store, simulated=simulated))
    return forecast


def probability_out_now(store: SqlStore, at: datetime, *, simulated: bool) -> dict[str, float]:
    """Return, by its id, the probability of each unit of being out of tolerance at `at`.

    It is that of the unit's riskiest point, as `recorded_forecast` found it last; a unit that it
    did not know, or that has had a run since, is left out. Reads one row for each unit.
    """
    curves = RiskCurves.read(_risk_file(store, simulated=simulated))
    if curves is None:
        return {}
    newest = _newest_runs(store, simulated=simulated)
    risks = curves.at(years_of(at)).tolist()
    return {
        asset: risk
        for asset, run, risk in zip(
            curves.assets.tolist(), curves.runs.tolist(), risks, strict=True
        )
        if newest.get(asset) == run
    }


def _risk_curves(forecast: FleetForecast, newest: dict[str, int]) -> RiskCurves:
    risks = [forecast.risk(forecast.last_at + after) for after in MONTHS]
    return RiskCurves(
        np.array(forecast.assets),
        np.array([newest.get(asset, 0) for asset in forecast.assets], dtype=np.int64),
        forecast.last_at,
        np.array(risks, dtype=np.float32).T,
    )


def _newest_runs(store: SqlStore, *, simulated: bool) -> dict[str, int]:
    c = NEWEST_RUNS.c
    query = select(c.asset, c.run).where(c.simulated == int(simulated))
    return {row.asset: int(row.run) for row in fetch_rows(store.database, query)}


def _risk_file(store: SqlStore, *, simulated: bool) -> Path:
    with store.database.read() as connection:
        (store_id,) = connection.execute(select(STORE.c.id)).scalars()
    kind = "simulated" if simulated else "real"
    return forecast_folder() / f"risk-{store_id}-{kind}.npz"
