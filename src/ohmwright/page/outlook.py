"""What the page shows of the units on record: the worklist in its order, and how each creeps."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from ohmwright.api.creep import recorded_forecast
from ohmwright.api.open_records import open_existing_records, records_exist
from ohmwright.api.recorded_worklist import store_worklist, today
from ohmwright.fleet.creep_course import CreepCourse, creep_course
from ohmwright.fleet.creep_table import RISKY, CreepRow, creep_rows
from ohmwright.fleet.fleet_forecast import FleetForecast
from ohmwright.model.quantity import unit_of
from ohmwright.records.qualified import PointOfUnit, Qualified, qualified_assets, qualified_points
from ohmwright.records.run_lists import Filter, runs
from ohmwright.reports.text import limit_figures, limits_words
from ohmwright.wire.clock import RealClock

from .campaign_card import campaign_card, campaign_lines
from .register_card import register_card, work_unit

_EVEN = 0.5
"""Probability of being out of tolerance whose date is told beside that of `RISKY`."""


@dataclass(frozen=True)
class Outlook:
    """The forecasts from the records at a place; None: where the user's own records are."""

    place: str | None

    def worklist(self, *, simulated: bool) -> dict[str, Any]:
        """Return the units of the register, the next in front, and how many of them are due."""
        if not records_exist(self.place):
            return {"units": [], "due": 0}
        with open_existing_records(self.place) as store:
            units = store_worklist(store, simulated=simulated)
            tags = [unit.asset.tag for unit in units if unit.rests_on_a_run]
            marked = qualified_assets(store.database, tags, simulated=simulated)
        shown = [work_unit(unit, today()) | marked.document(unit.asset.tag) for unit in units]
        return {"units": shown, "due": sum(unit["is_due"] for unit in shown)}

    def renew(self, *, simulated: bool) -> dict[str, Any]:
        """Make the forecast of the whole fleet anew, and return the worklist by it."""
        if records_exist(self.place):
            with open_existing_records(self.place) as store:
                recorded_forecast(store, simulated=simulated)
        return self.worklist(simulated=simulated)

    def register(self, asset: str, *, simulated: bool) -> dict[str, Any]:
        """Return what the register says of a unit, and how it is changed."""
        if not records_exist(self.place):
            return {"asset": None, "work": None, "changes": [], "commands": []}
        with open_existing_records(self.place) as store:
            return register_card(store, asset, simulated=simulated)

    def campaigns(self) -> list[dict[str, Any]]:
        """Return each campaign with a line on how far it is, the newest first."""
        if not records_exist(self.place):
            return []
        with open_existing_records(self.place) as store:
            return campaign_lines(store)

    def campaign(self, name: str) -> dict[str, Any]:
        """Return a campaign with its units. Raises UsageError where there is none."""
        with open_existing_records(self.place) as store:
            return campaign_card(store, name)

    def unit(self, asset: str, *, simulated: bool) -> dict[str, Any]:
        """Return how a unit creeps, point by point, the riskiest first."""
        at, forecast = RealClock().wall(), self._forecast_of_model(asset, simulated=simulated)
        points = []
        if forecast is not None:
            with open_existing_records(self.place) as store:
                marked = qualified_points(store.database, at, simulated=simulated)
            points = _points(forecast, asset, at, marked)
        return {"asset": asset, "simulated": simulated, "at": _day(at), "points": points}

    def _forecast_of_model(self, asset: str, *, simulated: bool) -> FleetForecast | None:
        """Return the forecast of all units of this one's model; None where it has no run."""
        if not records_exist(self.place):
            return None
        with open_existing_records(self.place) as store:
            found = runs(store.database, Filter(asset=asset), newest=1)
            if not found:
                return None
            return recorded_forecast(store, simulated=simulated, model=str(found[0]["model"]))


def _points(
    forecast: FleetForecast, asset: str, at: datetime, marked: Qualified[PointOfUnit]
) -> list[dict[str, Any]]:
    """Return the points of a unit, the riskiest first."""
    rows = [row for row in creep_rows(forecast, at, probability=RISKY) if row.asset == asset]
    even = {
        (row.step, row.point): row.leaves_at
        for row in creep_rows(forecast, at, probability=_EVEN)
        if row.asset == asset
    }
    return [
        _point(row, creep_course(forecast, row, at), even.get((row.step, row.point)))
        | marked.document(row.key)
        for row in rows
    ]


def _point(row: CreepRow, course: CreepCourse, even: datetime | None) -> dict[str, Any]:
    """Return a point with its course; `even`: when it is as likely as not to be out of tolerance.

    What was seen has its expanded uncertainty, k = 2.
    """
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
        "risky_out": {"probability": RISKY, "on": _day(row.leaves_at)},
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
