"""The forecast of each point of each unit in the units of its quantity, as rows of a table."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np

from .creep_filter import BoolArray, Histories
from .creep_forecast import time_out
from .fleet_forecast import FleetForecast, PointForecast
from .point_histories import PointLimits
from .worklist import Risk, risk_order
from .years import date_of, years_of

HORIZON_YEARS = 5.0
"""No date further ahead than this, from a unit's last value, is foretold."""
RATE_NOTE = "Creep a year: in percent of the target, ± twice its standard deviation (k = 2)."
"""Stands beneath a table that has `CreepRow.rate_text`."""
RISKY = 0.1
"""Probability of being out of tolerance whose date is told where none is asked for."""
UNLIKE = 0.5
"""Probability above which a unit is said to creep unlike its model."""
NEVER_OBSERVED, NOT_KNOWN = "never observed", "not known"
"""Said of creep that no two visits have shown, and of when such a point leaves its limits."""
_ONE_VISIT_YEARS = 3.0 / 365.0
"""Values no further apart are of one visit."""
SURPRISE = 3.0
"""Standard deviations beyond which the newest value is said to be a step."""


@dataclass(frozen=True, slots=True)
class CreepRow:
    """What is to be expected of one point of one unit; values in the unit of `limits.quantity`."""

    asset: str
    model: str
    step: str
    point: str
    limits: PointLimits
    last_at: datetime
    last_value: float
    rate_percent: float | None
    """Creep in percent of the target a year, and its standard deviation; None where no two visits
    have shown any, so that it is expected to creep as its model does."""
    rate_percent_sd: float | None
    expected: float
    """True value at the date asked for, with the interval that has the coverage asked for."""
    lower: float
    upper: float
    risk: float
    """Probability of being out of tolerance at that date."""
    within_year: float
    """The highest such probability from that date until a year later, month by month."""
    leaves_at: datetime | None
    """When this point's risk reaches the probability asked for; None beyond `HORIZON_YEARS`, and
    where its creep was never observed and its last value does not show it."""
    unlike: float
    """Probability that the unit creeps unlike its model."""
    surprise: float | None
    """The newest value less what was foretold of it, in standard deviations; None where nothing was
    foretold."""

    @property
    def key(self) -> tuple[str, str, str]:
        """Unit, step and point."""
        return self.asset, self.step, self.point

    @property
    def is_creep_observed(self) -> bool:
        """Whether two visits have shown how it creeps."""
        return self.rate_percent is not None

    @property
    def rate_text(self) -> str:
        """Its creep a year ± twice the standard deviation, or that no two visits have shown any."""
        if self.rate_percent is None or self.rate_percent_sd is None:
            return NEVER_OBSERVED
        # z: no minus before a zero
        return f"{self.rate_percent:+z.1f} ± {2 * self.rate_percent_sd:.1f} %"

    @property
    def remarks(self) -> tuple[str, ...]:
        """What a person should look at."""
        said = ["unlike its model"] if self.unlike > UNLIKE else []
        if self.surprise is not None and abs(self.surprise) > SURPRISE:
            said.append("step at its last visit")
        return tuple(said)

    @property
    def leaves_text(self) -> str:
        """When it leaves, as a date; else empty, or that nothing is known of that."""
        return UnitCreep((self,), self.leaves_at).leaves_text

    def cells(self) -> dict[str, Any]:
        """Return it as a row of a table or a JSON object: plain values, None for no value."""
        return {
            "asset": self.asset,
            "model": self.model,
            "step": self.step,
            "point": self.point,
            "quantity": self.limits.quantity,
            "target": self.limits.target,
            "lower_limit": None if self.limits.one_sided else self.limits.lower,
            "upper_limit": self.limits.upper,
            "last_at": self.last_at.isoformat(),
            "last_value": self.last_value,
            "rate_percent_a_year": self.rate_percent,
            "rate_sd_percent_a_year": self.rate_percent_sd,
            "expected": self.expected,
            "expected_from": self.lower,
            "expected_to": self.upper,
            "probability_out": self.risk,
            "probability_out_within_year": self.within_year,
            "leaves_at": None if self.leaves_at is None else f"{self.leaves_at:%Y-%m-%d}",
            "probability_unlike_model": self.unlike,
            "newest_surprise_sd": self.surprise,
            "remarks": ", ".join(self.remarks),
        }


def creep_rows(
    forecast: FleetForecast, at: datetime, *, probability: float = RISKY, coverage: float = 0.9
) -> list[CreepRow]:
    """Return a row for each point of each unit at `at`, the riskiest first.

    A unit with a value after `at` is shown at that value's time.
    """
    rows = [row for point in forecast.points for row in _rows(point, at, probability, coverage)]
    return sorted(rows, key=lambda row: (-row.risk, row.asset, row.step, row.point))


@dataclass(frozen=True, slots=True)
class UnitCreep:
    """What is to be expected of a unit: it is out of tolerance where any of its points is."""

    points: tuple[CreepRow, ...]
    """The riskiest first."""
    leaves_at: datetime | None
    """When the risk of any of its points reaches the probability asked for; None if not in time."""

    @property
    def leaves_text(self) -> str:
        """When it leaves, as a date; else empty, or that nothing is known of that."""
        if self.leaves_at is not None:
            return f"{self.leaves_at:%Y-%m-%d}"
        return "" if any(point.is_creep_observed for point in self.points) else NOT_KNOWN

    @property
    def risk(self) -> Risk:
        """The risk of the unit: the highest of its points, now and within the year."""
        return Risk(self.riskiest.risk, max(point.within_year for point in self.points))

    @property
    def riskiest(self) -> CreepRow:
        """Its point with the highest risk now, which is the unit's risk now."""
        return self.points[0]


def unit_creep(rows: Iterable[CreepRow]) -> list[UnitCreep]:
    """Return each unit of `rows`, the riskiest first, as `risk_order` says; then by when it leaves.

    `rows` are as `creep_rows` orders them.
    """
    of_unit: dict[str, list[CreepRow]] = {}
    for row in rows:
        of_unit.setdefault(row.asset, []).append(row)
    units = [
        UnitCreep(tuple(points), min((p.leaves_at for p in points if p.leaves_at), default=None))
        for points in of_unit.values()
    ]
    return sorted(units, key=_place)


def _place(unit: UnitCreep) -> tuple[tuple[int, int, int], bool, datetime, str]:
    leaves = unit.leaves_at or unit.riskiest.last_at
    return risk_order(unit.risk), unit.leaves_at is None, leaves, unit.riskiest.asset


def creep_observed(seen: Histories) -> BoolArray:
    """Return for each unit whether it crept from one visit to the next with no adjustment between.

    Shape (n,).
    """
    apart = np.diff(seen.times, axis=1) > _ONE_VISIT_YEARS
    shown = apart & seen.known[:, 1:] & ~seen.adjusted[:, 1:]
    return np.asarray(shown.sum(axis=1) > 0)


def _rows(
    point: PointForecast, at: datetime, probability: float, coverage: float
) -> Iterator[CreepRow]:
    of, states = point.of, point.states
    times = np.maximum(states.times, years_of(at))
    truth, (means, sds) = point.truth(times), point.rates()
    lower, upper = truth.interval(coverage)
    leaves = time_out(point.risk, states.times, probability, HORIZON_YEARS)
    observed = creep_observed(of.seen)
    # what the last value shows takes no creep to be known
    dated = np.isfinite(leaves) & (observed | (leaves <= states.times + _ONE_VISIT_YEARS))
    ahead = np.max([point.risk(times + months / 12.0) for months in range(13)], axis=0)
    columns = (truth.mean(), lower, upper, point.risk(times), ahead, point.unlike(), means, sds)
    last = of.seen.known.sum(axis=1) - 1
    for index, (figures, limits) in enumerate(zip(np.array(columns).T, of.limits, strict=True)):
        expected, low, high, risk, within_year, unlike, mean, sd = figures.tolist()
        percent = 100.0 * limits.half / limits.target
        seen = bool(observed[index])
        surprise = float(states.surprises[index, last[index]])
        yield CreepRow(
            asset=of.assets[index],
            model=of.model,
            step=of.step,
            point=of.point,
            limits=limits,
            last_at=date_of(float(states.times[index])),
            last_value=limits.value_of(float(of.seen.values[index, last[index]])),
            rate_percent=percent * mean if seen else None,
            rate_percent_sd=percent * sd if seen else None,
            expected=max(limits.least, limits.value_of(expected)),
            lower=max(limits.least, limits.value_of(low)),
            upper=limits.value_of(high),
            risk=risk,
            within_year=within_year,
            leaves_at=date_of(float(leaves[index])) if dated[index] else None,
            unlike=unlike,
            surprise=None if np.isnan(surprise) else surprise,
        )
