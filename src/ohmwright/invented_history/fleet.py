"""The invented fleet: fifty units of four models in one hospital, and the days of their visits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from ohmwright.model.bench_file import Asset
from ohmwright.simulator.randomness import Randomness

YEARS = 5
_MODELS = (
    # data file, maker, model, serial number begins with, how many
    ("teasel-200", "Aldermoor", "Teasel 200", "AT2", 16),
    ("isken-120", "Pellworth", "Isken 120", "PI1", 12),
    ("dunlin-350", "Ravensby", "Dunlin 350", "RD3", 14),
    ("fenlark-60", "Ottery Works", "Fenlark 60", "OF6", 8),
)
_PLACES = (*(f"theatre {n}" for n in range(1, 9)), "day surgery", "endoscopy", "maternity")
_HOSPITAL = "Saint Orrin Infirmary"
_FIRST_TAG = 101
_FAST, _REPAIRED, _WITHDRAWN, _SEALED = (6, 21, 47), (11, 33), (40,), (21,)
"""By their place in the fleet: units that age three times as fast as their model, that got another
output board, that were taken out of use, and whose trims nobody may move any more."""
_YEAR_DAYS = 365.25
_LEFT_OUT, _LATE = 0.04, 0.1
"""Shares of visits that are left out, and that come one to five months late."""


@dataclass(frozen=True)
class InventedUnit:
    """One unit, and when it is on the bench."""

    asset: Asset
    data: str
    """Name of its generator data file."""
    seed: int
    """Decides the unit as built, as the seed of a bench's [simulation] does."""
    age_months: float
    """At the first visit."""
    pace: float
    """How many months it ages in one."""
    visits: tuple[date, ...]
    repaired: date | None = None
    """When it got another output board, which begins anew."""
    withdrawn: bool = False
    """Whether it was taken out of use after its last visit."""
    sealed_since: date | None = None
    """From when on its trims are left as they are: it fails once it is out of tolerance."""


def invented_fleet(seed: int, until: date) -> tuple[InventedUnit, ...]:
    """Fifty units with their visits in the five years up to `until`; the same for the same seed."""
    kinds = [kind[:4] for kind in _MODELS for _ in range(kind[4])]
    return tuple(_unit(seed, number, kind, until) for number, kind in enumerate(kinds))


def _unit(seed: int, number: int, kind: tuple[str, str, str, str], until: date) -> InventedUnit:
    own = Randomness(seed, "fleet", str(number))
    data, maker, model, begins = kind
    asset = Asset(
        id=f"HF-{_FIRST_TAG + number}",
        maker=maker,
        model=model,
        serial=f"{begins}-{own.integer('serial', (10_000, 99_999))}",
        department=f"{_HOSPITAL}, {_PLACES[own.integer('place', (0, len(_PLACES) - 1))]}",
    )
    visits = tuple(_visits(own, until, withdrawn=number in _WITHDRAWN))
    return InventedUnit(
        asset,
        data,
        seed=own.integer("unit", (1, 10**6)),
        age_months=own.between("age_months", (0.0, 36.0)),
        pace=3.0 if number in _FAST else own.between("pace", (0.6, 1.4)),
        visits=visits,
        withdrawn=number in _WITHDRAWN,
        repaired=visits[2] - timedelta(days=40) if number in _REPAIRED else None,
        sealed_since=visits[-2] if number in _SEALED else None,
    )


def _visits(own: Randomness, until: date, *, withdrawn: bool) -> Iterator[date]:
    """About once a year, on working days; now and then late, and sometimes left out."""
    end = until - timedelta(days=round(2 * _YEAR_DAYS)) if withdrawn else until
    day = until - timedelta(days=round(YEARS * _YEAR_DAYS))
    day += timedelta(days=own.integer("first", (0, 364)))
    draws = own.uniforms("visits")
    while day <= end:
        if next(draws) > _LEFT_OUT:
            yield _working_day(day)
        late_days = 30 + 120 * next(draws) if next(draws) < _LATE else 0.0
        day += timedelta(days=round(_YEAR_DAYS + 40 * next(draws) - 20 + late_days))


def _working_day(day: date) -> date:
    """The day itself, or the Friday before a weekend."""
    return day - timedelta(days=max(0, day.isoweekday() - 5))
