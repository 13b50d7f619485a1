"""Every bar of the benchmarks in one table: which figure, how much, and which bench measures it.

A figure is named as `figures.figures_of` names it in the JSON line of its bench. A bar without a
bench is listed all the same, so that nobody takes it for met.
"""

from __future__ import annotations

import importlib.util
from dataclasses import dataclass
from typing import Literal

Bound = Literal["at most", "at least"]


@dataclass(frozen=True)
class Bench:
    """A script beside this one, and what it is given: for the whole sample, for a quick look."""

    script: str
    full: tuple[str, ...] = ()
    quick: tuple[str, ...] = ()


@dataclass(frozen=True)
class Bar:
    """One figure and what it must keep; `limit` None is for orientation only."""

    part: str
    what: str
    bench: str | None = None
    """Its name in BENCHES; None while nothing measures it."""
    figure: str = ""
    limit: float | None = None
    bound: Bound = "at most"
    reference: str = ""
    """The figure that shows how fast this machine, or how good the reference, is by itself."""
    by_quick: bool = True
    """Whether the quick look's sample is large enough to judge by."""

    def met(self, value: float) -> bool:
        """Whether `value` keeps the bar; a figure without one is always well."""
        if self.limit is None:
            return True
        return value <= self.limit if self.bound == "at most" else value >= self.limit


_SEEDS = tuple(str(seed) for seed in range(1, 81))

BENCHES = {
    "adjust": Bench("adjust.py", ("--units", "20000"), ("--units", "8")),
    "worlds": Bench("worlds", ("--units", "1000"), ("--units", "1", "--only", "foreign")),
    "refit": Bench("refit.py"),
    "diagnose": Bench("diagnose.py", ("--units", "2000"), ("--units", "100")),
    "link": Bench("link.py", (), ("--queries", "300", "--rounds", "3")),
    "time": Bench("time.py", (), ("--seconds", "60", "--rounds", "5")),
    "many": Bench("many.py", (), ("--benches", "16", "--seconds", "5")),
    "start": Bench("start.py", (), ("--rounds", "3")),
    "live": Bench("live.py", (), ("--frames", "40")),
    "uncertainty": Bench("uncertainty.py"),
    "store": Bench("store.py", (), ("--results", "10000", "--rounds", "4")),
    "waveform": Bench("waveform.py"),
    "job": Bench("job.py", ("--seeds", *_SEEDS), ("--seeds", "3")),
    "rehearse": Bench("rehearse.py", (), ("--units", "1", "--worker-units", "3")),
    "coached": Bench("coached.py", ("--units", "500"), ("--units", "2")),
    "worklist": Bench("worklist.py", (), ("--rounds", "3")),
    "page": Bench("page.py", (), ("--seconds", "4", "--warm", "1")),
    "certificate": Bench("certificate.py", (), ("--points", "40", "--times", "1")),
    "forecast": Bench(
        "forecast.py",
        ("--json", "--seeds", *map(str, range(1, 13))),
        ("--json", "--units", "120", "--seeds", "1"),
    ),
}

_ORACLE = "nominal: oracle's RF-on s, median"
_SYNC_ALONE = "SQLite alone: single commits ÷ fdatasync"
_BATCH_ALONE = "SQLite alone: batch of 100 ÷ single"
_PASS = "reference_s: float64 / one read pass"
_INT16 = 1.3 if importlib.util.find_spec("numba") is None else 0.4


def _adjust(what: str, figure: str, limit: float, bound: Bound = "at most") -> Bar:
    """A bar over the population, which a few units say nothing about."""
    return Bar("A", what, "adjust", figure, limit, bound, _ORACLE, by_quick=False)


ADJUSTING = (
    _adjust("RF-on ÷ oracle, median", "nominal: RF-on ÷ oracle, median", 1.02),
    _adjust("RF-on ÷ oracle, p95", "nominal: RF-on ÷ oracle, p95", 1.9),
    _adjust("success", "nominal: success", 0.998, "at least"),
    _adjust("false accept, 95 % bound", "nominal: false accept, 95 % upper bound", 5e-4),
    _adjust(
        "false accept near the limit, 95 % bound",
        "near the limit: false accept, 95 % upper bound",
        5e-4,
    ),
    _adjust("undecided", "nominal: undecided", 0.002),
    _adjust("activations, mean", "nominal: activations, mean", 2.15),
    _adjust("largest excursion", "nominal: largest excursion", 0.3),
    _adjust("keys: RF-on ÷ oracle, median", "keys: RF-on ÷ oracle, median", 1.25),
    _adjust("keys: presses, p95", "keys: presses, p95", 12),
    _adjust("keys: largest excursion", "keys: largest excursion", 0.45),
    _adjust("dead trim: RF-on s, median", "dead trim: RF-on s, median", 20),
    _adjust("dead trim: accepts", "dead trim: accepts", 0),
    _adjust("hunting 1 %: false accept", "hunting 1 %: false accept", 0.001),
    _adjust("second pole: success", "second pole: success", 0.99, "at least"),
    _adjust("big gain: false accepts", "big gain: false accepts seen", 0),
    _adjust("big gain: largest excursion", "big gain: largest excursion", 0.45),
    _adjust(
        "verification: wrong outside 0.9 to 1.1 tolerances",
        "verification: wrong outside 0.9 to 1.1 tolerances",
        0.001,
    ),
    _adjust(
        "verification: median time ÷ slope test's",
        "verification: median time ÷ slope test's",
        0.75,
    ),
    _adjust("verification: undecided, nominal", "verification: undecided", 0.12),
    _adjust("fleet prior: RF-on ÷ without", "fleet prior: median RF-on ÷ without, after 20", 0.85),
    _adjust(
        "fleet prior: RF-on ÷ without, curve known",
        "fleet prior: the same, as-found curve known in both",
        0.85,
    ),
    _adjust(
        "fleet prior: false accept, 95 % bound",
        "fleet prior: false accept with it, 95 % upper bound",
        5e-4,
    ),
    _adjust(
        "opposite prior: false accept, 95 % bound",
        "fleet prior: false accept, opposite prior, 95 % upper bound",
        1e-3,
    ),
    _adjust(
        "opposite prior: largest excursion",
        "fleet prior: largest excursion, opposite prior",
        0.3,
    ),
    Bar("A", "refit of 300 samples, ms", "refit", "refit_ms", 1.0, reference="lstsq_ms"),
    Bar("A", "drifted gain named", "diagnose", "named", 0.99, "at least", "named_by_worst_load"),
)


def _worlds(world: str, figure: str, limit: float, bound: Bound = "at most") -> Bar:
    """A bar over foreign worlds, which a few units say nothing about."""
    named = f"{world}: {figure}"
    return Bar("A", f"worlds, {named}", "worlds", named, limit, bound, by_quick=False)


_EACH_WORLD = "all worlds"
_GIVEN_UP, _LEFT_WORSE = "RF-on s of a point given up, p95", "left worse than it was seen"
_WRONG, _UNDECIDED = "verification: wrong outside 0.9 to 1.1 tolerances", "verification: undecided"
_EXCURSION = "largest excursion"

WORLDS = (
    _worlds(_EACH_WORLD, "false accepts, 95 % bound", 2e-4),
    _worlds(_EACH_WORLD, "U covers the truth, least", 0.93, "at least"),
    _worlds(_EACH_WORLD, "U covers the truth, most", 0.99),
    _worlds(_EACH_WORLD, _GIVEN_UP, 120),
    _worlds(_EACH_WORLD, _LEFT_WORSE, 0),
    _worlds(_EACH_WORLD, _WRONG, 0.001),
    _worlds("backlash", "success", 0.99, "at least"),
    _worlds("lag 3 s", "success", 0.99, "at least"),
    _worlds("overshoot", "success", 0.98, "at least"),
    _worlds("teeter 0.8 %", "success", 0.99, "at least"),
    _worlds("lag 3 s", _UNDECIDED, 0.2),
    _worlds("lag 3 s", "verification: median s", 16),
    _worlds("nominal, foreign", _UNDECIDED, 0.12),
    _worlds("nominal, foreign", "verification: median s", 8),
    _worlds("nominal, foreign", _EXCURSION, 0.3),
    _worlds("keys, 3 % wrong", "RF-on s, median", 22),
    _worlds("keys, 3 % wrong", _EXCURSION, 0.35),
)

COACHED = (
    Bar("A", "coached: success", "coached", "success", 0.995, "at least", by_quick=False),
    Bar(
        "A",
        "coached: false accept, 95 % bound",
        "coached",
        "false accept, 95 % upper bound",
        0.001,
        by_quick=False,
    ),
    Bar(
        "A",
        "coached: RF-on ÷ by port, median",
        "coached",
        "RF-on ÷ by port, median",
        1.3,
        reference="RF-on s by port, median",
        by_quick=False,
    ),
    Bar("A", "coached: slips left out of tolerance", "coached", "slips left, out of tolerance", 0),
)
_ADDED = "million_additions_s"

LINK_AND_TIME = (
    Bar("B", "query ÷ pyserial read(n), direct", "link", "direct", 1.1, reference="pyserial_us"),
    Bar("B", "the same, through the guard", "link", "guarded", 1.8, reference="pyserial_us"),
    Bar("B", "virtual time ÷ looptime", "time", "ratio", 10, "at least", "looptime"),
    Bar("B", "rehearsal core ÷ looptime", "time", "core_ratio", 40, "at least", "looptime"),
    Bar("B", "64 serial benches: readings missed", "many", "readings missed", 0, by_quick=False),
    Bar("B", "64 serial benches: jitter p99, ms", "many", "jitter p99, ms", 20, by_quick=False),
    Bar("B", "ohmwright --help ÷ import typer", "start", "help", 1.5, reference="import_typer_s"),
    Bar("B", "live view 80×24, share of a core", "live", "share_80x24", 0.05, "at most", _ADDED),
    Bar("B", "live view 120×40, share of a core", "live", "share_120x40", 0.05, "at most", _ADDED),
)

_MONTE_CARLO = "Monte Carlo, 10^6 trials / plain numpy and sort"
_BUDGET = "one linear budget / uncertainties"
_RISK = "false accept, a point / scipy bivariate normal"
_FLOAT, _NATIVE = "float64 / one read pass", "int16 / one read pass of float64"
_QUESTIONS = (
    "history of a unit's point",
    "a model's point, newest month",
    "spread of a model's point",
    "failed in the newest week",
    "trend of a model's point, by month",
    "pass rates of the whole fleet",
    "units not seen for a year",
    "runs listed by serial number",
)


def _ratio(what: str, bench: str, name: str, limit: float) -> Bar:
    """A ratio of two ways timed by turns."""
    return Bar("C", what, bench, f"ratios: {name}", limit, reference=f"reference_s: {name}")


def _question(name: str) -> Bar:
    """A fleet query beside a store without help for it, which only a large store shows."""
    figure = f"{name}: times faster"
    return Bar("C", figure, "store", figure, 50, "at least", f"{name}: s", by_quick=False)


METROLOGY_AND_RECORDS = (
    _ratio("Monte Carlo ÷ numpy and sort", "uncertainty", _MONTE_CARLO, 1.15),
    Bar(
        "C",
        "Monte Carlo bit-identical",
        "uncertainty",
        "monte_carlo_bit_identical",
        1,
        "at least",
    ),
    _ratio("one linear budget ÷ uncertainties", "uncertainty", _BUDGET, 1),
    Bar("C", "vectorised budget, a point ÷ uncertainties", limit=0.01),
    _ratio("false accept, a point ÷ scipy", "uncertainty", _RISK, 0.01),
    Bar(
        "C",
        "false accept, largest difference",
        "uncertainty",
        "false_accept_largest_difference",
        1e-12,
    ),
    Bar(
        "C",
        "single commits ÷ fdatasync",
        "store",
        "single commits ÷ fdatasync",
        0.6,
        "at least",
        _SYNC_ALONE,
    ),
    Bar(
        "C",
        "batch of 100 ÷ single",
        "store",
        "batch of 100 ÷ single",
        30,
        "at least",
        _BATCH_ALONE,
    ),
    *(_question(name) for name in _QUESTIONS),
    _ratio("RMS and crest ÷ one read pass", "waveform", _FLOAT, 2.3),
    _ratio("the same, int16", "waveform", _NATIVE, _INT16),
)

_EYE = "by_eye_bench_s, median"

WHOLE_JOB = (
    Bar("D", "job ÷ by eye, median", "job", "ratio, median", 0.22, reference=_EYE, by_quick=False),
    Bar("D", "job ÷ by eye, worst", "job", "ratio, worst", 0.33, reference=_EYE, by_quick=False),
    Bar("D", "landing, worst, tolerances", "job", "worst_landing, worst", 0.5, by_quick=False),
    Bar("D", "RF-on s, median", "job", "rf_on_s, median", reference="oracle_rf_on_s, median"),
    Bar("D", "ohmwright demo, s", "start", "demo_s", reference="import_typer_s"),
    Bar("C", "worklist of 10,000 assets, s", "worklist", "worklist_s", 1.0, reference="plain_s"),
    Bar("D", "ohmwright worklist of them, s", "worklist", "command_s", reference="plain_s"),
    Bar("D", "certificate of 40 points, s", "certificate", "PDF, 40 points"),
    Bar("D", "certificate of 300 points, s", "certificate", "PDF, 300 points", by_quick=False),
    Bar("D", "rehearsed unit ÷ calibrate", "rehearse", "ratio", 0.25, reference="calibrate_s"),
    Bar("D", "part of it in estimators", "rehearse", "in_estimators"),
    Bar("D", "two workers ÷ one", "rehearse", "workers_ratio", 1.8, "at least", by_quick=False),
    Bar("D", "rehearsal of 1,000 units, s", "rehearse", "thousand_s", by_quick=False),
)

PAGE = (
    Bar(
        "E",
        "page, 8 benches: frames per s",
        "page",
        "frames_per_s",
        57,
        "at least",
        "frames_per_s_idle",
    ),
    Bar("E", "page, 8 benches: STOP to RF off, median ms", "page", "stop_median_ms", 200),
    Bar("E", "page, 8 benches: heap, MB", "page", "heap_mb", 200),
    Bar("E", "the same, growth in MB an hour", "page", "heap_growth_mb_per_h", 5, by_quick=False),
)

_ORACLE_THIRD = "oracle: share in the first third"


def _forecast(what: str, figure: str, limit: float, bound: Bound, reference: str = "") -> Bar:
    """A bar over hundreds of units, which few say nothing about."""
    return Bar("E", what, "forecast", f"forecast: {figure}", limit, bound, reference, False)


def _within(target: float, margin: float) -> tuple[tuple[float, Bound], ...]:
    return (target - margin, "at least"), (target + margin, "at most")


FORECAST = (
    _forecast("90 % intervals hold", "coverage of 90 %", 0.87, "at least"),
    _forecast("90 % intervals hold", "coverage of 90 %", 0.93, "at most"),
    _forecast(
        "leave within the year, in the first third",
        "share in the first third",
        0.9,
        "at least",
        _ORACLE_THIRD,
    ),
    *(
        _forecast(
            f"in tolerance after an interval for {target:g}",
            f"reached at {target:.2f}, not held",
            round(limit, 2),
            bound,
        )
        for target in (0.90, 0.95)
        for limit, bound in _within(target, 0.02)
    ),
)

BARS = (
    *ADJUSTING,
    *WORLDS,
    *COACHED,
    *LINK_AND_TIME,
    *METROLOGY_AND_RECORDS,
    *WHOLE_JOB,
    *PAGE,
    *FORECAST,
)
