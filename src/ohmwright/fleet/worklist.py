"""Which unit is to be worked on next: by risk, then by due date, then by place. Pure.

In front is what failed, then what is probably out of tolerance now, then what leaves it soonest:
the risk within the coming year orders the others, since that of today is about nought for most
of a fleet.
"""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Literal

from ohmwright.model.registered_asset import RegisteredAsset

PROBABLY_OUT = 0.5
"""A unit whose risk reaches this is out of tolerance more likely than not."""
RELIABILITY_AT_DUE = 0.9
"""Share of units still in tolerance when they are due, where nothing better is known of them.

An interval is commonly chosen so; common practice, no source."""
_RISK_BAND = 0.05
"""Risks that differ by less are taken for equal, so that the due date and the place count."""


@dataclass(frozen=True)
class Risk:
    """Probability of being out of tolerance: now, and the highest within a year from now."""

    now: float
    within_year: float


def risk_order(risk: Risk) -> tuple[int, int, int]:
    """The key that sorts the riskiest to the front, alike in every list of units.

    First what is probably out now, then what is probably out within the year, then what is out now.
    Equal keys are ordered by dates: in a worklist by the due date, in a forecast by the day on
    which the unit leaves.
    """
    out_now = risk.now if risk.now >= PROBABLY_OUT else 0.0
    first, then, last = (-round(one / _RISK_BAND) for one in (out_now, risk.within_year, risk.now))
    return first, then, last


RiskOf = Callable[[RegisteredAsset], Risk | None]
"""The risk of a unit as it was foretold; None where its records do not say."""
_CERTAIN = Risk(1.0, 1.0)
_YEAR = timedelta(days=365)


@dataclass(frozen=True)
class LastWork:
    """The newest run of a unit that decided it, or that it passed as somebody told."""

    on: date
    verdict: Literal["pass", "fail"]
    run_id: str = ""
    is_told: bool = False
    """Whether no run here says so: the register does."""


@dataclass(frozen=True)
class WorkUnit:
    """A unit of the worklist."""

    asset: RegisteredAsset
    last: LastWork | None
    """None for a unit that was never decided, so far as is known."""
    due: date | None
    """None for a unit that was never decided: it is due at once."""
    risk: Risk
    """1 where it failed last, or nothing is known of it: then for the order alone."""
    is_foretold: bool = False
    """Whether the risk is a forecast's; else the due date alone gives it."""

    @property
    def has_failed(self) -> bool:
        """Whether it failed last."""
        return self.last is not None and self.last.verdict == "fail"

    @property
    def is_risk_known(self) -> bool:
        """Whether anything is known of its risk: it was decided, or its undecided runs foretell."""
        return self.last is not None or self.is_foretold

    @property
    def rests_on_a_run(self) -> bool:
        """Whether its risk rests on a run here: a forecast does, and a due date as told does not.

        An undecided run, of which there may be values, moves no due date.
        """
        return self.is_foretold or (self.last is not None and not self.last.is_told)

    def is_due(self, by: date) -> bool:
        """Whether it is due on this day, or was before; what is probably out is due now."""
        return self.due is None or self.due <= by or self.is_probably_out

    @property
    def is_probably_out(self) -> bool:
        """Whether it is out of tolerance now more likely than not."""
        return self.risk.now >= PROBABLY_OUT


_DAYS_OF_EVERY_MONTH = 28


def no_risk_known(asset: RegisteredAsset) -> None:
    """A `RiskOf` that knows nothing."""


def work_unit(
    asset: RegisteredAsset, last: LastWork | None, today: date, risk_of: RiskOf = no_risk_known
) -> WorkUnit:
    """The unit with its due date and its risk.

    A unit that failed is due from that day on, whatever is foretold of it. One that was never
    decided is due at once, at the risk that its undecided runs foretell. Without a risk of its
    own, a unit has that of an exponential life of which `RELIABILITY_AT_DUE` is left at the end of
    the interval. A day on which it passed as the register tells counts where no run is newer.
    """
    told_on = asset.told_passed_on
    if told_on is not None and (last is None or last.on < told_on):
        last = LastWork(told_on, "pass", is_told=True)
    if last is not None and last.verdict == "fail":
        return WorkUnit(asset, last, last.on, _CERTAIN)
    known = risk_of(asset)
    if last is None:
        return WorkUnit(asset, None, None, known or _CERTAIN, is_foretold=known is not None)
    due, risk = _due_and_risk(last.on, asset.interval_months, today)
    return WorkUnit(asset, last, due, known or risk, is_foretold=known is not None)


@lru_cache(maxsize=4096)  # a fleet of ten thousand was last seen on some hundred days
def _due_and_risk(on: date, interval_months: int, today: date) -> tuple[date, Risk]:
    """When a unit that passed `on` a day is due, and its risk today where nothing else is known."""
    due = months_later(on, interval_months)
    days = (today - on, today + _YEAR - on)
    now, ahead = (1 - RELIABILITY_AT_DUE ** max(0.0, after / (due - on)) for after in days)
    return due, Risk(now, ahead)


def worklist(
    assets: Iterable[RegisteredAsset],
    lasts: Mapping[str, LastWork],
    today: date,
    risk_of: RiskOf = no_risk_known,
) -> list[WorkUnit]:
    """The units that are in use or in repair, the one to be worked on first in front.

    `lasts`: the newest decisive run of each tag.
    """
    units = (
        work_unit(asset, lasts.get(asset.tag), today, risk_of)
        for asset in assets
        if asset.state != "withdrawn"
    )
    return sorted(units, key=_place)


def _place(unit: WorkUnit) -> tuple[bool, int, int, int, date, str, str]:
    """The key that sorts: a unit known to be out goes before those of which nothing is known."""
    due = date.min if unit.due is None else unit.due
    return not unit.has_failed, *risk_order(unit.risk), due, unit.asset.site, unit.asset.tag


def months_later(day: date, months: int) -> date:
    """The same day of the month so many months later, or the last day of a shorter month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if day.day <= _DAYS_OF_EVERY_MONTH:
        return date(year, month + 1, day.day)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
