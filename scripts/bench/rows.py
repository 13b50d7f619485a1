"""The rows of the adjusting table: figure, bar, whether it is met."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from rich.table import Table
from scipy.stats import beta


@dataclass(frozen=True)
class Row:
    """One figure beside its bar; a bar of None is only for orientation."""

    scenario: str
    figure: str
    value: float
    bar: float | None = None
    at_least: bool = False

    @property
    def met(self) -> bool | None:
        """Whether the figure meets the bar."""
        if self.bar is None:
            return None
        return self.value >= self.bar if self.at_least else self.value <= self.bar


def upper_bound(events: int, trials: int, confidence: float = 0.95) -> float:
    """One-sided Clopper-Pearson bound of a rate."""
    if events >= trials:
        return 1.0
    return float(beta.ppf(confidence, events + 1, trials - events))


def _false(measured: Sequence[Any]) -> int:
    return _false_accepts([m.outcome for m in measured])


def _false_accepts(outcomes: Sequence[Any]) -> int:
    return sum(o.verdict == "confirmed" and abs(o.error_tolerances) > 1 for o in outcomes)


def _success(measured: Sequence[Any]) -> float:
    good = [
        m.outcome.verdict == "confirmed" and abs(m.outcome.error_tolerances) <= 1 for m in measured
    ]
    return float(np.mean(good))


def _verdicts(measured: Sequence[Any], verdict: str) -> float:
    return float(np.mean([m.outcome.verdict == verdict for m in measured]))


def _ratios(measured: Sequence[Any], looking_again: bool = False) -> NDArray[np.float64]:
    return np.array(
        [
            m.outcome.rf_on_s / (m.oracle_looking_again_s if looking_again else m.oracle_s)
            for m in measured
        ]
    )


def _excursion(measured: Sequence[Any]) -> float:
    return max(float(m.outcome.excursion) for m in measured)


def _nominal(name: str, m: Sequence[Any]) -> list[Row]:
    ratio, again = _ratios(m), _ratios(m, looking_again=True)
    return [
        Row(name, "RF-on ÷ oracle, median", float(np.median(ratio)), 1.1),
        Row(name, "RF-on ÷ oracle, p95", float(np.quantile(ratio, 0.95)), 2.2),
        Row(name, "RF-on ÷ oracle that looks again, median", float(np.median(again))),
        Row(name, "RF-on ÷ oracle that looks again, p95", float(np.quantile(again, 0.95))),
        Row(name, "success", _success(m), 0.998, at_least=True),
        Row(name, "false accept, 95 % upper bound", upper_bound(_false(m), len(m)), 0.0005),
        Row(name, "false accepts seen", _false(m)),
        Row(name, "undecided", 1 - _verdicts(m, "confirmed"), 0.002),
        Row(name, "activations, mean", float(np.mean([x.outcome.activations for x in m])), 2.15),
        Row(name, "largest excursion", _excursion(m), 0.30),
        Row(name, "RF-on s, median", float(np.median([x.outcome.rf_on_s for x in m]))),
        Row(name, "oracle's RF-on s, median", float(np.median([x.oracle_s for x in m]))),
        Row(
            name,
            "landing error p95, tolerances",
            float(np.quantile([abs(x.outcome.error_tolerances) for x in m], 0.95)),
        ),
    ]


def _near(name: str, m: Sequence[Any]) -> list[Row]:
    return [
        Row(name, "false accept, 95 % upper bound", upper_bound(_false(m), len(m)), 0.0005),
        Row(name, "false accepts seen", _false(m)),
        Row(name, "undecided", 1 - _verdicts(m, "confirmed")),
    ]


def _keys(name: str, m: Sequence[Any]) -> list[Row]:
    presses = [x.outcome.presses for x in m]
    return [
        Row(name, "RF-on ÷ oracle, median", float(np.median(_ratios(m))), 1.25),
        Row(name, "RF-on ÷ oracle that looks again, median", float(np.median(_ratios(m, True)))),
        Row(name, "presses, p95", float(np.quantile(presses, 0.95)), 12),
        Row(name, "largest excursion", _excursion(m), 0.45),
        Row(name, "success", _success(m)),
        Row(name, "false accepts seen", _false(m)),
    ]


def _dead(name: str, m: Sequence[Any]) -> list[Row]:
    return [
        Row(name, "RF-on s, median", float(np.median([x.outcome.rf_on_s for x in m])), 20),
        Row(name, "accepts", sum(x.outcome.verdict == "confirmed" for x in m), 0),
    ]


def _hunting(name: str, m: Sequence[Any]) -> list[Row]:
    return [
        Row(name, "false accept", _false(m) / len(m), 0.001),
        Row(name, "success", _success(m)),
        Row(name, "RF-on ÷ oracle, median", float(np.median(_ratios(m)))),
    ]


def _pole(name: str, m: Sequence[Any]) -> list[Row]:
    return [
        Row(name, "success", _success(m), 0.99, at_least=True),
        Row(name, "false accepts seen", _false(m)),
        Row(name, "RF-on ÷ oracle, median", float(np.median(_ratios(m)))),
    ]


def _gain(name: str, m: Sequence[Any]) -> list[Row]:
    return [
        Row(name, "false accepts seen", _false(m), 0),
        Row(name, "largest excursion", _excursion(m), 0.45),
        Row(name, "success", _success(m)),
    ]


def _spikes(name: str, m: Sequence[Any]) -> list[Row]:
    return [
        Row(name, "success", _success(m)),
        Row(name, "false accepts seen", _false(m)),
        Row(name, "RF-on ÷ oracle, median", float(np.median(_ratios(m)))),
    ]


def _baseline(name: str, m: Sequence[Any]) -> list[Row]:
    ratio = _ratios(m)
    return [
        Row(name, "RF-on ÷ oracle, median", float(np.median(ratio))),
        Row(name, "success", _success(m)),
        Row(name, "false accepts, share", _false(m) / len(m)),
    ]


def _verification(verified: Sequence[Any]) -> list[Row]:
    name = "verification"
    clear = [v for v in verified if not 0.9 <= abs(v.error_tolerances) <= 1.1]
    wrong = sum(v.wrong for v in clear)
    ratio = float(np.median([v.on_s for v in verified])) / float(
        np.median([v.slope_on_s for v in verified])
    )
    return [
        Row(name, "wrong outside 0.9 to 1.1 tolerances", wrong / max(1, len(clear)), 0.001),
        Row(name, "median time ÷ slope test's", ratio, 0.75),
        Row(name, "undecided", float(np.mean([v.verdict == "undecided" for v in verified]))),
        Row(name, "slope test's wrong", float(np.mean([v.slope_wrong for v in clear]))),
    ]


_ROWS: dict[str, Callable[[str, Sequence[Any]], list[Row]]] = {
    "nominal": _nominal,
    "near the limit": _near,
    "keys": _keys,
    "dead trim": _dead,
    "hunting 1 %": _hunting,
    "second pole": _pole,
    "big gain": _gain,
    "spikes": _spikes,
}


def _fleet(compared: Sequence[Any]) -> list[Row]:
    name = "fleet prior"
    without = [o for c in compared for o in c.without]
    with_prior = [o for c in compared for o in c.with_prior]
    misled = [o for c in compared for o in c.misled]
    with_curve = [o for c in compared for o in c.with_curve]
    with_both = [o for c in compared for o in c.with_both]

    def median(outcomes: Sequence[Any]) -> float:
        return float(np.median([o.rf_on_s for o in outcomes]))

    def bound(outcomes: Sequence[Any]) -> float:
        return upper_bound(_false_accepts(outcomes), len(outcomes))

    return [
        Row(name, "median RF-on ÷ without, after 20", median(with_prior) / median(without), 0.85),
        Row(
            name,
            "the same, as-found curve known in both",
            median(with_both) / median(with_curve),
            0.85,
        ),
        Row(
            name,
            "activations, mean, with curve",
            float(np.mean([o.activations for o in with_curve])),
        ),
        Row(
            name, "activations, mean, with both", float(np.mean([o.activations for o in with_both]))
        ),
        # counts of two arms differ by chance, so each is held to the bar of the population
        Row(name, "false accept with it, 95 % upper bound", bound([*with_prior, *with_both]), 5e-4),
        Row(name, "false accept, opposite prior, 95 % upper bound", bound(misled), 1e-3),
        Row(name, "false accepts seen with it", _false_accepts([*with_prior, *with_both])),
        Row(name, "false accepts seen without", _false_accepts([*without, *with_curve])),
        Row(name, "median RF-on ÷ without, opposite prior", median(misled) / median(without)),
        Row(name, "largest excursion, opposite prior", max(o.excursion for o in misled), 0.30),
    ]


def table(
    results: dict[str, list[Any]],
    verified: Sequence[Any],
    compared: Sequence[Any],
    baselines: Sequence[str],
) -> list[Row]:
    """All rows for what has been measured."""
    found: list[Row] = []
    for name, measured in results.items():
        rows = _baseline if name in baselines else _ROWS[name]
        found += rows(name, measured)
    found += _verification(verified) if verified else []
    return found + (_fleet(compared) if compared else [])


def rendered(rows: Sequence[Row], units: int, seed: int) -> Table:
    """The table for the terminal."""
    shown = Table(title=f"Adjusting, {units} units, seed {seed}")
    for column in ("situation", "figure", "value", "bar", ""):
        shown.add_column(column)
    last = ""
    for row in rows:
        bar = "" if row.bar is None else f"{'≥' if row.at_least else '≤'} {row.bar:g}"
        mark = {None: "", True: "pass", False: "FAIL"}[row.met]
        shown.add_row(
            row.scenario if row.scenario != last else "", row.figure, f"{row.value:.4g}", bar, mark
        )
        last = row.scenario
    return shown


def as_json(rows: Sequence[Row]) -> dict[str, Any]:
    """The rows as plain data."""
    return {
        "rows": [
            {
                "situation": r.scenario,
                "figure": r.figure,
                "value": r.value,
                "bar": r.bar,
                "met": r.met,
            }
            for r in rows
        ]
    }
