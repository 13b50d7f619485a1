"""What is to be expected of the units on record: the worklist's order, and how each unit creeps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ohmwright.api.creep import recorded_forecast
from ohmwright.api.open_records import open_existing_records, records_exist
from ohmwright.api.recorded_worklist import store_worklist, today
from ohmwright.fleet.creep_course import CreepCourse, creep_course
from ohmwright.fleet.creep_table import CreepRow, creep_rows
from ohmwright.fleet.fleet_forecast import FleetForecast
from ohmwright.fleet.worklist import WorkUnit
from ohmwright.model.quantity import unit_of
from ohmwright.records.run_lists import Filter, runs
from ohmwright.reports.text import limit_figures, limits_words
from ohmwright.wire.clock import RealClock

_LIKELY, _EVEN = 0.1, 0.5
"""Probabilities of being out of tolerance of which the dates are told."""


@dataclass(frozen=True)
class Outlook:
    """The forecasts from the records at a place; None is the user's own."""

    place: str | None

    def worklist(self, *, simulated: bool) -> dict[str, Any]:
        """Return the units of the register, the next one to be worked on in front."""
        if not records_exist(self.place):
            return {"units": [], "due": 0}
        with open_existing_records(self.place) as store:
            units = store_worklist(store, simulated=simulated)
        return {
            "units": [_work_unit(unit) for unit in units],
            "due": sum(unit.is_due(today()) for unit in units),
        }

    def renew(self, *, simulated: bool) -> dict[str, Any]:
        """Make the forecast of the whole fleet anew, and return the worklist by it."""
        if records_exist(self.place):
            with open_existing_records(self.place) as store:
                recorded_forecast(store, simulated=simulated)
        return self.worklist(simulated=simulated)

    def unit(self, asset: str, *, simulated: bool) -> dict[str, Any]:
        """Return how a unit creeps, point by point, the riskiest first."""
        at, rows, forecast = RealClock().wall(), list[CreepRow](), None
        if records_exist(self.place):
            with open_existing_records(self.place) as store:
                found = runs(store.database, Filter(asset=asset), newest=1)
                if found:
                    model = str(found[0]["model"])
                    forecast = recorded_forecast(store, simulated=simulated, model=model)
                    rows = [row for row in creep_rows(forecast, at) if row.asset == asset]
        even = {} if forecast is None else _leaving(forecast, at)
        points = [
            _point(row, creep_course(forecast, row, at), even.get((row.step, row.point, asset)))
            for row in rows
            if forecast is not None
        ]
        return {"asset": asset, "simulated": simulated, "at": _day(at), "points": points}


def _leaving(forecast: FleetForecast, at: datetime) -> dict[tuple[str, str, str], datetime | None]:
    """Return by step, point and unit when it is as likely as not to be out of tolerance."""
    rows = creep_rows(forecast, at, probability=_EVEN)
    return {(row.step, row.point, row.asset): row.leaves_at for row in rows}


def _work_unit(unit: WorkUnit) -> dict[str, Any]:
    asset, last = unit.asset, unit.last
    return {
        "tag": asset.tag,
        "model": asset.model,
        "serial": asset.serial,
        "site": asset.site,
        "state": asset.state,
        "risk_now": unit.risk.now if unit.is_risk_known else None,
        "risk_within_year": unit.risk.within_year if unit.is_risk_known else None,
        "probably_out": unit.is_probably_out,
        "foretold": unit.is_foretold,
        "due": None if unit.due is None else unit.due.isoformat(),
        "is_due": unit.is_due(today()),
        "last_on": None if last is None else last.on.isoformat(),
        "last_verdict": None if last is None else last.verdict,
        "last_run": None if last is None else last.run_id,
    }


def _point(row: CreepRow, course: CreepCourse, even: datetime | None) -> dict[str, Any]:
    limits = row.limits
    return {
        "step": row.step,
        "point": row.point,
        "unit": unit_of(limits.quantity).symbol,
        "target": limits.target,
        "limits": limits_words(limits.as_target),
        "figures": limit_figures(limits.as_target),
        "lower": None if limits.one_sided else limits.lower,
        "upper": limits.upper,
        "rate_percent": row.rate_percent,
        "rate_percent_sd": row.rate_percent_sd,
        "expected": row.expected,
        "within": [row.lower, row.upper],
        "risk": row.risk,
        "likely_out": {"probability": _LIKELY, "on": _day(row.leaves_at)},
        "even_out": {"probability": _EVEN, "on": _day(even)},
        "remarks": list(row.remarks),
        "seen": [[_year(s.at), s.value, 2 * s.uncertainty, s.adjusted] for s in course.seen],
        "ahead": [[_year(e.at), e.middle, *e.quantiles] for e in course.ahead],
    }


def _day(at: datetime | None) -> str | None:
    return None if at is None else f"{at:%Y-%m-%d}"


def _year(at: datetime) -> float:
    """Return a time as a year with its fraction."""
    begin = datetime(at.year, 1, 1, tzinfo=at.tzinfo)
    return at.year + (at - begin) / (begin.replace(year=at.year + 1) - begin)
