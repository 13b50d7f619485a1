"""What came of one world: figures by name, each beside its bar where it has one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import nan

import numpy as np

from scripts.bench.rows import Row, upper_bound

from .driving import Adjusted, Stated, Verified
from .world import World

ALL = "all worlds"


@dataclass(frozen=True)
class Seen:
    """One world's units."""

    world: World
    adjusted: Sequence[Adjusted]
    verified: Sequence[Verified]
    oracle_s: Sequence[float]
    """For each adjusted unit."""


@dataclass(frozen=True)
class Limit:
    """A bar: at most, or at least, so much."""

    value: float
    at_least: bool = False


FALSE_ACCEPTS = "false accepts"
OFF_MEAN = "passed, out of tolerance by the long mean"
"""What hunts slowly can stand still while it is confirmed: then no reading tells it."""
SUCCESS = "success"
COVERS = "U covers the truth"
RF_ON, RF_ON_P95 = "RF-on s, median", "RF-on s, p95"
RATIO, RATIO_P95 = "RF-on ÷ oracle, median", "RF-on ÷ oracle, p95"
GIVEN_UP = "RF-on s of a point given up, p95"
LEFT_WORSE = "left worse than it was seen"
EXCURSION = "largest excursion"
WRONG = "verification: wrong outside 0.9 to 1.1 tolerances"
UNDECIDED, MEDIAN = "verification: undecided", "verification: median s"
_EVERYWHERE = {
    FALSE_ACCEPTS: Limit(0),
    GIVEN_UP: Limit(120),
    LEFT_WORSE: Limit(0),
    EXCURSION: Limit(0.3),
    WRONG: Limit(0.001),
}
_LEAST_COVERED, _MOST_COVERED = 0.93, 0.99
_SUCCESS = Limit(0.99, at_least=True)
_OWN: dict[str, dict[str, Limit]] = {
    "nominal, foreign": {
        SUCCESS: Limit(0.998, at_least=True),
        RATIO: Limit(1.02),
        RATIO_P95: Limit(1.9),
        UNDECIDED: Limit(0.12),
        MEDIAN: Limit(8),
    },
    "third order": {SUCCESS: _SUCCESS},
    "lag 3 s": {SUCCESS: _SUCCESS, UNDECIDED: Limit(0.2), MEDIAN: Limit(16)},
    "overshoot": {SUCCESS: Limit(0.98, at_least=True)},
    "teeter 0.8 %": {SUCCESS: _SUCCESS},
    "backlash": {SUCCESS: _SUCCESS},
    "dead trim": {RF_ON: Limit(20)},
    "big gain": {EXCURSION: Limit(0.45)},
    "keys": {RATIO: Limit(1.25), EXCURSION: Limit(0.45)},
    "keys, 3 % wrong": {RF_ON: Limit(22), EXCURSION: Limit(0.35)},
}


def figures_of(seen: Seen) -> list[Row]:
    """The rows of one world."""
    adjusted, verified, name = seen.adjusted, seen.verified, seen.world.name
    rf_on = np.array([each.rf_on_s for each in adjusted])
    ratio = rf_on / np.array(seen.oracle_s)
    given_up = [a.rf_on_s for a in adjusted if a.stated.verdict != "pass"]
    clear = [v.stated for v in verified if not 0.9 <= abs(v.stated.error) <= 1.1]
    values = {
        FALSE_ACCEPTS: _false_accepts(adjusted),
        OFF_MEAN: _off_mean(adjusted),
        SUCCESS: float(np.mean([_good(a) for a in adjusted])),
        COVERS: covered([*_stated(seen)]),
        RF_ON: float(np.median(rf_on)),
        RF_ON_P95: float(np.quantile(rf_on, 0.95)),
        RATIO: float(np.median(ratio)),
        RATIO_P95: float(np.quantile(ratio, 0.95)),
        GIVEN_UP: float(np.quantile(given_up, 0.95)) if given_up else 0.0,
        LEFT_WORSE: sum(a.left_worse for a in adjusted),
        EXCURSION: max(a.excursion for a in adjusted),
        WRONG: sum(s.wrong for s in clear) / max(1, len(clear)),
        UNDECIDED: float(np.mean([v.stated.verdict == "undecided" for v in verified])),
        MEDIAN: float(np.median([v.on_s for v in verified])),
    }
    bars = _EVERYWHERE | _OWN.get(name, {})
    return [_row(name, figure, value, bars.get(figure)) for figure, value in values.items()]


def figures_of_all(worlds: Sequence[Seen]) -> list[Row]:
    """The rows of all worlds together."""
    adjusted = [a for seen in worlds for a in seen.adjusted]
    verified = [v for seen in worlds for v in seen.verified]
    clear = [v.stated for v in verified if not 0.9 <= abs(v.stated.error) <= 1.1]
    given_up = [a.rf_on_s for a in adjusted if a.stated.verdict != "pass"]
    accepted = _false_accepts(adjusted)
    covers = [share for seen in worlds if (share := covered([*_stated(seen)])) == share]
    rows: dict[str, tuple[float, Limit | None]] = {
        "false accepts, 95 % bound": (upper_bound(accepted, len(adjusted)), Limit(2e-4)),
        FALSE_ACCEPTS: (accepted, Limit(0)),
        OFF_MEAN: (_off_mean(adjusted), None),
        f"{COVERS}, least": (min(covers, default=nan), Limit(_LEAST_COVERED, at_least=True)),
        f"{COVERS}, most": (max(covers, default=nan), Limit(_MOST_COVERED)),
        GIVEN_UP: (float(np.quantile(given_up, 0.95)) if given_up else 0.0, Limit(120)),
        LEFT_WORSE: (sum(a.left_worse for a in adjusted), Limit(0)),
        WRONG: (sum(s.wrong for s in clear) / max(1, len(clear)), Limit(0.001)),
    }
    return [_row(ALL, figure, value, bar) for figure, (value, bar) in rows.items()]


def covered(stated: Sequence[Stated]) -> float:
    """Share of stated values whose expanded uncertainty holds the truth; NaN of none."""
    known = [s.covered for s in stated if s.covered is not None]
    return float(np.mean(known)) if known else nan


def covers_well(share: float) -> bool | None:
    """Whether a coverage lies within its two bars; None of no values."""
    return None if share != share else _LEAST_COVERED <= share <= _MOST_COVERED


def _stated(seen: Seen) -> Sequence[Stated]:
    return [*(a.stated for a in seen.adjusted), *(v.stated for v in seen.verified)]


def _false_accepts(adjusted: Sequence[Adjusted]) -> int:
    """Passed, and out of tolerance as it was at its confirmation."""
    return sum(a.stated.verdict == "pass" and abs(a.error_then) > 1 for a in adjusted)


def _off_mean(adjusted: Sequence[Adjusted]) -> int:
    return sum(a.stated.verdict == "pass" and abs(a.stated.error) > 1 for a in adjusted)


def _good(adjusted: Adjusted) -> bool:
    """Passed, and in tolerance as it was at its confirmation."""
    return adjusted.stated.verdict == "pass" and abs(adjusted.error_then) <= 1


def _row(name: str, figure: str, value: float, bar: Limit | None) -> Row:
    if bar is None:
        return Row(name, figure, value)
    return Row(name, figure, value, bar.value, at_least=bar.at_least)
