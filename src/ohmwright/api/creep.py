"""Creep of the units on record: what is to be expected of each."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from ohmwright.fleet.fleet_forecast import FleetForecast, fleet_forecast
from ohmwright.fleet.point_histories import point_histories
from ohmwright.records.flat_rows import sortable_time
from ohmwright.records.queries import adjusted_runs, creep_values, fetch_rows
from ohmwright.records.sql_store import SqlStore

from .creep_cache import LearnedModels
from .paths import forecast_folder
from .risk_curves import MONTHS, RiskCurves, newest_runs, risk_file


def recorded_forecast(
    store: SqlStore,
    *,
    simulated: bool = False,
    model: str | None = None,
    before: datetime | None = None,
) -> FleetForecast:
    """Return what is to be expected of every unit on record, or of those of one model.

    `before`: what was measured from then on is left out, as if it were to come yet.

    Learning takes about a second for each point of a model; what was learned from the same values
    before is taken from the user's cache. The risks of a whole fleet are kept for
    `foretold_risks`.
    """
    learned = LearnedModels(forecast_folder())
    newest = newest_runs(store, simulated=simulated)
    every = fetch_rows(store.database, creep_values(simulated, model))
    rows = [row for row in every if before is None or row.at < sortable_time(before)]
    adjusted = {row.run for row in fetch_rows(store.database, adjusted_runs(simulated))}
    forecast = fleet_forecast(point_histories(rows, adjusted), learned.fit)
    learned.keep()
    if model is None and forecast.assets and len(rows) == len(every):
        _risk_curves(forecast, newest).write(risk_file(store, simulated=simulated))
    return forecast


def _risk_curves(forecast: FleetForecast, newest: dict[str, int]) -> RiskCurves:
    risks = [forecast.risk(forecast.last_at + after) for after in MONTHS]
    return RiskCurves(
        np.array(forecast.assets),
        np.array([newest.get(asset, 0) for asset in forecast.assets], dtype=np.int64),
        forecast.last_at,
        np.array(risks, dtype=np.float32).T,
    )
