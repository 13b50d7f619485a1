"""How well the forecast of creep holds on units that age by equations of their own.

Run: python scripts/bench/forecast.py [--units 500] [--seeds 1 2 … 12] [--rough] [--json]

Seeds from 100 on were used while the forecast was made, those below were not. Beside it are two
baselines, a fixed yearly interval and each unit's last value with a straight line, and an oracle
that knows each unit's true deviation and creep and lacks only the walk and the repairs to come.
What the forecast's own risks say that its first third holds is printed, too: where that is what it
holds, no other order by the same knowledge holds more.
The widths of walk, repairs and season in `ageing.py` are plausible guesses, from no data; `--rough`
doubles the walk, to show how much hangs on that.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np
import numpy.typing as npt
from rich.console import Console
from rich.table import Table
from scipy.special import ndtr

from ohmwright.fleet.creep_filter import filtered
from ohmwright.fleet.creep_fit import fit_creep
from ohmwright.fleet.creep_forecast import expected_truth, expected_value
from ohmwright.fleet.creep_model import FloatArray
from ohmwright.fleet.interval_advice import AllowedIntervals, by_reliability
from ohmwright.fleet.worklist import LastWork, Risk, worklist
from ohmwright.fleet.years import date_of
from ohmwright.model.registered_asset import RegisteredAsset
from scripts.bench.ageing import MODELS, NOW, Aged, aged_fleet, histories

ALLOWED = AllowedIntervals(shortest=0.0, longest=6.0)
TARGETS = (0.90, 0.95)
_MONTHS = np.arange(13) / 12
_QUANTILE = 1.6448536  # of 95 %, for the baseline's interval of 90 %


Order = npt.NDArray[np.intp]
"""Places of units among those of all models, the one to be worked on first in front."""


@dataclass(frozen=True)
class Foretold:
    """What one way of forecasting says of the units of one model; each array (units,)."""

    lower: FloatArray
    """Of the interval of 90 % for the next value."""
    upper: FloatArray
    now: FloatArray
    """Risk of being out of tolerance now; for a baseline what it goes by."""
    within_year: FloatArray
    """The highest risk within the year."""
    leaves: dict[float, FloatArray]
    """Interval in years for each reliability target."""


@dataclass(frozen=True)
class Truth:
    """What became of the units of one model; each array (units,)."""

    next_at: FloatArray
    next_value: FloatArray
    leaving: np.ndarray
    """In tolerance now and out of it at some time within the year."""


def truth(units: Sequence[Aged], rng: np.random.Generator) -> Truth:
    """Draw the next visit of each unit, 4 to 18 months after the last, and look at the year."""
    next_at = np.array([unit.times[-1] for unit in units]) + rng.uniform(0.33, 1.5, len(units))
    scatter = np.array([unit.scatter for unit in units])
    values = np.array([unit.at(at) for unit, at in zip(units, next_at, strict=True)])
    now = np.array([unit.at(NOW) for unit in units])
    year = np.array([[unit.at(NOW + week / 52) for week in range(53)] for unit in units])
    out = (np.abs(now) <= 1.0) & (np.abs(year) > 1.0).any(axis=1)
    return Truth(next_at, values + scatter * rng.normal(size=len(units)), out)


def foretold(units: list[Aged], seen: Truth) -> Foretold:
    """By the model of creep."""
    known = histories(units)
    states = filtered(fit_creep(known), known)
    stated_u = np.array([unit.stated_u[-1] for unit in units])
    lower, upper = expected_value(states, seen.next_at, stated_u).interval(0.9)

    def risk(times: FloatArray) -> FloatArray:
        one = np.ones(len(units))
        return expected_truth(states, times).outside(-one, one)

    leaves = {
        target: by_reliability(risk, states.times, target, ALLOWED).years for target in TARGETS
    }
    months = np.array([risk(np.full(len(units), NOW + month)) for month in _MONTHS])
    return Foretold(lower, upper, months[0], months.max(axis=0), leaves)


def straight(units: list[Aged], seen: Truth) -> Foretold:
    """By each unit's last value and the least-squares line of its values since its adjustment."""
    lines = [_line(unit) for unit in units]
    last = np.array([unit.values[-1] for unit in units])
    slope, sd = np.array([s for s, _ in lines]), np.array([w for _, w in lines])
    start = np.array([unit.times[-1] for unit in units])
    ahead = last + slope * (seen.next_at - start)
    year = last + slope * (NOW + 1.0 - start)
    with np.errstate(divide="ignore", invalid="ignore"):
        years = np.where(slope == 0.0, np.inf, (np.sign(slope) - last) / slope)
    years = np.clip(np.nan_to_num(years, nan=ALLOWED.longest), 0.0, ALLOWED.longest)
    reach = _QUANTILE * sd
    going = np.abs(year)
    return Foretold(ahead - reach, ahead + reach, going, going, dict.fromkeys(TARGETS, years))


def _line(unit: Aged) -> tuple[float, float]:
    """Slope and residual deviation of a unit since its last adjustment; slope 0 below 3 values."""
    begin = int(np.flatnonzero(unit.adjusted)[-1]) if unit.adjusted.any() else 0
    times, values = unit.times[begin:], unit.values[begin:]
    if len(times) < 3:
        return 0.0, float(unit.stated_u[-1])
    slope, level = np.polyfit(times, values, 1)
    rest = values - (slope * times + level)
    return float(slope), float(max(np.sqrt(rest @ rest / (len(times) - 2)), unit.stated_u[-1]))


def yearly(units: list[Aged], _: Truth) -> Foretold:
    """By the calendar: the unit not seen for longest first, each a year after its last visit."""
    none = np.full(len(units), np.nan)
    start = np.array([unit.times[-1] for unit in units])
    waited = NOW - start
    return Foretold(none, none, waited, waited, dict.fromkeys(TARGETS, np.ones(len(units))))


def oracle_risk(units: list[Aged]) -> FloatArray:
    """By the true deviation now, the true creep and season, and the width of the unit's walk."""
    risks = np.zeros(len(units))
    for month in _MONTHS[1:]:
        ahead = np.array([unit.known_at(NOW + month) for unit in units])
        sd = np.array([unit.walk_sd for unit in units]) * np.sqrt(month)
        risks = np.maximum(risks, ndtr((-1.0 - ahead) / sd) + ndtr((ahead - 1.0) / sd))
    out_now = np.array([abs(unit.at(NOW)) > 1.0 for unit in units])
    return np.where(out_now, 0.0, risks)


WAYS = {"forecast": foretold, "yearly": yearly, "straight line": straight}


def figures(units: int, seed: int, walk: float) -> dict[str, dict[str, float]]:
    """The figures of each way on one fleet."""
    fleet = aged_fleet(units, seed, walk)
    of_models = [[unit for unit in fleet if unit.kind == kind] for kind in range(MODELS)]
    rng = np.random.default_rng([seed, 5])
    seen = [truth(of_model, rng) for of_model in of_models]
    leaving = np.concatenate([each.leaving for each in seen])
    said = {}
    for name, way in WAYS.items():
        told = [way(of_model, each) for of_model, each in zip(of_models, seen, strict=True)]
        order = _order(name, of_models, told)
        said[name] = {
            "share in the first third": _in_first_third(order, leaving),
            "coverage of 90 %": _coverage(told, seen),
        }
        if name == "forecast":
            leave = np.concatenate([each.within_year - each.now for each in told])
            said[name]["share in the first third, foretold"] = _in_first_third(order, leave)
        for target in TARGETS:
            reached, free, years = _reached(of_models, [each.leaves[target] for each in told])
            said[name][f"reached at {target:.2f}"] = reached
            said[name][f"reached at {target:.2f}, not held"] = free
            said[name][f"median interval at {target:.2f}"] = years
    oracle = _falling([oracle_risk(of_model) for of_model in of_models])
    said["oracle"] = {"share in the first third": _in_first_third(oracle, leaving)}
    said["fleet"] = {"leave within the year": float(leaving.mean())}
    return said


def _order(name: str, of_models: list[list[Aged]], told: list[Foretold]) -> Order:
    """The order in which units are worked on: of the forecast that of `ohmwright worklist`."""
    if name != "forecast":
        return _falling([each.now for each in told])
    units = [unit for of_model in of_models for unit in of_model]
    now, ahead = (np.concatenate([getattr(e, of) for e in told]) for of in ("now", "within_year"))
    risks = {str(i): Risk(*both) for i, both in enumerate(zip(now, ahead, strict=True))}
    lasts = {tag: LastWork(_date(units[int(tag)].times[-1]), "pass") for tag in risks}
    assets = [
        RegisteredAsset(tag=tag, maker="Tessenhove", model="Quillon 300", serial=tag)
        for tag in risks
    ]
    listed = worklist(assets, lasts, _date(NOW), lambda asset: risks[asset.tag])
    return np.array([int(one.asset.tag) for one in listed])


def _date(years: float) -> date:
    return date_of(years).date()


def _falling(risks: list[FloatArray]) -> Order:
    return np.argsort(-np.concatenate(risks), kind="stable")


def _in_first_third(order: Order, leaving: np.ndarray) -> float:
    """Share that it holds of the units that leave; `leaving`: whether, or how probably."""
    return float(leaving[order[: len(order) // 3]].sum() / leaving.sum())


def _coverage(told: list[Foretold], seen: list[Truth]) -> float:
    if np.isnan(told[0].lower).any():
        return float("nan")
    inside = [
        (each.lower <= what.next_value) & (what.next_value <= each.upper)
        for each, what in zip(told, seen, strict=True)
    ]
    return float(np.concatenate(inside).mean())


def _reached(of_models: list[list[Aged]], leaves: list[FloatArray]) -> tuple[float, float, float]:
    """Share truly in tolerance at the end of the interval; without those held to the longest."""
    units = [unit for of_model in of_models for unit in of_model]
    years = np.concatenate(leaves)
    kept = np.array(
        [abs(unit.at(unit.times[-1] + y)) <= 1.0 for unit, y in zip(units, years, strict=True)]
    )
    free = years < ALLOWED.longest
    return float(kept.mean()), float(kept[free].mean()), float(np.median(years))


def main() -> None:
    """Print the mean over all seeds, with its standard error, or one JSON line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--units", type=int, default=500)
    parser.add_argument("--seeds", type=int, nargs="+", default=list(range(1, 13)))
    parser.add_argument("--rough", action="store_true", help="twice the random walk")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    walk = 2.0 if options.rough else 1.0
    each = [figures(options.units, seed, walk) for seed in options.seeds]
    keys = [(name, figure) for name, found in each[0].items() for figure in found]
    table = {key: [found[key[0]][key[1]] for found in each] for key in keys}
    if options.json:
        means = {f"{name}: {figure}": float(np.mean(v)) for (name, figure), v in table.items()}
        print(json.dumps({key: value for key, value in means.items() if value == value}))
        return
    shown = Table(title=f"{options.units} units, seeds {options.seeds}, walk x {walk:g}")
    for column in ("", "figure", "mean", "standard error"):
        shown.add_column(column)
    for (name, figure), values in table.items():
        error = np.std(values, ddof=1) / np.sqrt(len(values)) if len(values) > 1 else np.nan
        shown.add_row(name, figure, f"{np.mean(values):.3f}", f"{error:.3f}")
    Console(width=100).print(shown)


if __name__ == "__main__":
    main()
