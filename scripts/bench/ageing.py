"""Five hundred units that age by equations of their own, which the forecast knows nothing of.

In tolerances and years. A unit's deviation is the sum of

    creep     of steady, or slowing down as a logarithm does; goes on when adjusted
    a walk    weekly, of Student's t with 4 degrees of freedom, of a width of the unit's own
    a season  with a second harmonic, an amplitude and a phase of the unit's own
    repairs   half of them put on record with an adjustment; the others are steps of Laplace's
              distribution that nobody sees before the next visit

Visits are irregular; values scatter, and each calendar year's analyzer is a little off. A unit
found beyond `_ADJUST_BEYOND` is adjusted to near the middle.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ohmwright.fleet.creep_filter import Histories
from ohmwright.fleet.creep_model import FloatArray

MODELS = 4
WEEKS = 52
NOW = 8.0
"""Years of history; the forecast is made then."""
_YEARS = 15
_ADJUST_BEYOND = 0.8


@dataclass(frozen=True)
class Kind:
    """What the units of one model share."""

    settling_share: float
    rate: float
    """Median of the steady rate, signed, in tolerances a year."""
    settling: float
    walk: float
    season: float
    phase: float
    repairs: float
    scatter: float


@dataclass(frozen=True)
class Aged:
    """One unit: the truth each week, what was seen, and what lies ahead of its last visit."""

    kind: int
    truth: FloatArray
    """From the beginning of year 0, weekly; after the last visit as it ages untouched."""
    creep: FloatArray
    """Of that the part that an oracle knows: creep and season, without a level."""
    walk_sd: float
    scatter: float
    """Standard deviation of a value, without its analyzer's error."""
    times: FloatArray
    values: FloatArray
    stated_u: FloatArray
    adjusted: FloatArray

    def at(self, time: float) -> float:
        """The true deviation at a time."""
        return float(np.interp(time * WEEKS, np.arange(len(self.truth)), self.truth))

    def known_at(self, time: float) -> float:
        """The true deviation at `NOW`, and what creep and season will have added by a time."""
        weeks = np.arange(len(self.creep))
        then, now = np.interp((time * WEEKS, NOW * WEEKS), weeks, self.creep)
        return self.at(NOW) + float(then - now)


def drawn_kind(rng: np.random.Generator) -> Kind:
    """A model drawn at random."""
    sign = rng.choice([-1.0, 1.0])
    return Kind(
        settling_share=rng.uniform(0.2, 0.5),
        rate=sign * rng.uniform(0.10, 0.28),
        settling=-sign * rng.uniform(0.6, 1.2),
        walk=rng.uniform(0.04, 0.10),
        season=rng.uniform(0.02, 0.10),
        phase=rng.uniform(0.0, 2 * np.pi),
        repairs=rng.uniform(0.04, 0.10),
        scatter=rng.uniform(0.04, 0.09),
    )


def aged_fleet(units: int, seed: int, walk: float = 1.0) -> list[Aged]:
    """Units of four models, each aged from a beginning of its own to the end.

    `walk` multiplies the width of every random walk.
    """
    rng = np.random.default_rng([seed, 19])
    kinds = [drawn_kind(rng) for _ in range(MODELS)]
    kinds = [replace(kind, walk=walk * kind.walk) for kind in kinds]
    bias = rng.normal(0.0, 0.03, _YEARS + 1)
    return [_aged(i % MODELS, kinds[i % MODELS], bias, rng) for i in range(units)]


def histories(units: list[Aged]) -> Histories:
    """The values of units as the forecast takes them."""
    width = max(len(unit.times) for unit in units)

    def padded(name: str) -> FloatArray:
        rows = [np.pad(getattr(unit, name), (0, width - len(unit.times))) for unit in units]
        return np.array(rows, dtype=np.float64)

    known = np.arange(width) < np.array([len(unit.times) for unit in units])[:, None]
    return Histories(
        padded("times"), padded("values"), padded("stated_u"), padded("adjusted") > 0, known
    )


def _aged(number: int, kind: Kind, bias: FloatArray, rng: np.random.Generator) -> Aged:
    weeks = _YEARS * WEEKS
    years = np.arange(weeks + 1) / WEEKS
    creep = _creep(kind, years, rng)
    walk_sd = kind.walk * np.exp(rng.normal(0.0, 0.3))
    moves = rng.standard_t(4, weeks) * walk_sd / np.sqrt(2.0 * WEEKS)
    repairs = rng.random(weeks) < kind.repairs / WEEKS
    recorded = repairs & (rng.random(weeks) < 0.5)
    steps = np.where(repairs & ~recorded, rng.laplace(0.0, 0.3, weeks), 0.0)
    free = creep - creep[0] + np.concatenate([[0.0], np.cumsum(moves + steps)])
    visits = _visits(rng, weeks, np.flatnonzero(recorded) + 1)
    noise_sd = kind.scatter * np.exp(rng.normal(0.0, 0.1))
    level = rng.normal(0.0, 0.25) - free[visits[0]]
    truth = np.full(weeks + 1, np.nan)
    seen: list[tuple[float, float, float]] = []

    def measured(week: int, adjusted: float) -> float:
        value = truth[week] + rng.normal(0.0, noise_sd) + bias[week // WEEKS]
        seen.append((week / WEEKS, value, adjusted))
        return float(value)

    for index, week in enumerate(visits):
        truth[week:] = level + free[week:]
        on_record = index > 0 and bool(recorded[week - 1])
        if on_record or abs(measured(week, 0.0)) > _ADJUST_BEYOND:
            level = rng.normal(0.0, 0.07) - free[week]
            truth[week:] = level + free[week:]
            measured(week, 1.0)
    stated = np.hypot(kind.scatter, 0.03) * np.exp(rng.normal(0.0, 0.1))
    times, values, adjusted = np.array(seen).T
    return Aged(
        kind=number,
        truth=truth,
        creep=creep,
        walk_sd=walk_sd,
        scatter=noise_sd,
        times=times,
        values=values,
        stated_u=np.full(times.shape, stated),
        adjusted=adjusted,
    )


def _creep(kind: Kind, years: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Creep and season, without a level."""
    age = years + rng.uniform(0.0, 3.0)
    if rng.random() < kind.settling_share:
        end = kind.settling * np.exp(rng.normal(0.0, 0.3))
        creep = end * np.log1p(age / rng.lognormal(np.log(2.0), 0.3))
    else:
        creep = kind.rate * np.exp(rng.normal(0.0, 0.5)) * age
    phase = 2 * np.pi * years + kind.phase + rng.normal(0.0, 0.4)
    height = kind.season * np.exp(rng.normal(0.0, 0.3))
    whole: FloatArray = creep + height * (np.sin(phase) + 0.2 * np.sin(2 * phase))
    return whole


def _visits(rng: np.random.Generator, weeks: int, repaired: np.ndarray) -> list[int]:
    """Weeks of visits, about a year apart with a spread of 40 %, up to `NOW`."""
    first = rng.uniform(0.0, NOW - 1.0)
    times = [first]
    while times[-1] < NOW:
        times.append(times[-1] + rng.gamma(6.0, 1.0 / 6.0))
    planned = {int(time * WEEKS) for time in times[:-1]}
    at_repairs = {int(week) for week in repaired if first * WEEKS < week < max(planned)}
    return sorted(week for week in planned | at_repairs if week < weeks)
