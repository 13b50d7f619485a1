"""Which unit is to be worked on next: by risk, then by due date, then by place. Pure."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Literal

from ohmwright.model.registered_asset import RegisteredAsset

RiskOf = Callable[[RegisteredAsset], float | None]
"""The probability that a unit is out of tolerance now; None where its records do not say."""
RELIABILITY_AT_DUE = 0.9
"""Share of units still in tolerance when they are due, where nothing better is known of them.

An interval is commonly chosen so; common practice, no source."""
_RISK_BAND = 0.05
"""Risks that differ by less are taken for equal, so that the due date and the place count."""


@dataclass(frozen=True)
class LastWork:
    """The newest run of a unit that decided it."""

    on: date
    verdict: Literal["pass", "fail"]
    run_id: str = ""


@dataclass(frozen=True)
class WorkUnit:
    """A unit of the worklist."""

    asset: RegisteredAsset
    last: LastWork | None
    """None for a unit that was never decided."""
    due: date | None
    """None for a unit that was never decided: it is due at once."""
    risk: float
    """Probability that it is out of tolerance now; 1 where it was never measured, for the order."""
    is_foretold: bool = False
    """Whether the risk is a forecast's; else the due date alone gives it."""

    def is_due(self, by: date) -> bool:
        """Whether it is due on this day, or was before."""
        return self.due is None or self.due <= by


_DAYS_OF_EVERY_MONTH = 28


def no_risk_known(asset: RegisteredAsset) -> None:
    """A `RiskOf` that knows nothing."""


def work_unit(
    asset: RegisteredAsset, last: LastWork | None, today: date, risk_of: RiskOf = no_risk_known
) -> WorkUnit:
    """The unit with its due date and its risk.

    A unit that failed is due from that day on. Without a risk of its own, it is that of an
    exponential life of which `RELIABILITY_AT_DUE` is left at the end of the interval.
    """
    if last is None:
        due, risk = None, 1.0
    elif last.verdict == "fail":
        due, risk = last.on, 1.0
    else:
        due = months_later(last.on, asset.interval_months)
        share = max(0.0, (today - last.on) / (due - last.on))
        risk = 1 - RELIABILITY_AT_DUE**share
    known = risk_of(asset)
    return WorkUnit(asset, last, due, risk if known is None else known, known is not None)


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


def _place(unit: WorkUnit) -> tuple[int, date, str, str]:
    due = date.min if unit.due is None else unit.due
    return -round(unit.risk / _RISK_BAND), due, unit.asset.site, unit.asset.tag


def months_later(day: date, months: int) -> date:
    """The same day of the month so many months later, or the last day of a shorter month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    if day.day <= _DAYS_OF_EVERY_MONTH:
        return date(year, month + 1, day.day)
    return date(year, month + 1, min(day.day, monthrange(year, month + 1)[1]))
