"""Limits that the readings' scatter alone allows for a value, and verdicts that it leaves open.

The heat flow meter is data set ZARR13 of the NIST/SEMATECH e-Handbook, its figures from memory; the
other factors are Student's t, table G.2 of the GUM at 90 %.
"""

import math
from collections.abc import Callable, Iterator
from functools import partial

import numpy as np
from scipy import signal, stats

from ohmwright.engine.judge import is_final, judge, scatter_half_width, stays_undecided
from ohmwright.estimation.ar1_regression import spikes
from ohmwright.installation.check import Check, Value, clause_checks
from ohmwright.model.decision import Decision, GuardBand, SimpleAcceptance
from ohmwright.model.result import AMPLE_DOF, BudgetEntry, Measured
from ohmwright.model.tolerance import Target, at_most

HANDBOOK = "NIST/SEMATECH e-Handbook"
# t for 90 %, both sides, which is 95 % to one: GUM table G.2, as printed
TABLE_G2_90 = {1: 6.31, 2: 2.92, 3: 2.35, 5: 2.02, 10: 1.81, 20: 1.72, 50: 1.68, math.inf: 1.645}
# U = 2 and k = 2, readings' u 0.5 with 20 degrees of freedom: t u = 0.862359
BAND = Target(quantity="power_w", value=100.0, lower=90.0, upper=110.0)
MOST = at_most("power_w", 110.0)
SIMPLE, GUARDED = SimpleAcceptance(), GuardBand(rule="guard band")
# value, target, rule: verdict
VERDICTS: tuple[tuple[float, Target, Decision, str], ...] = (
    (109.10, BAND, SIMPLE, "pass"),
    (109.17, BAND, SIMPLE, "undecided"),
    (110.83, BAND, SIMPLE, "undecided"),
    (110.90, BAND, SIMPLE, "fail"),
    (90.90, BAND, SIMPLE, "pass"),
    (90.83, BAND, SIMPLE, "undecided"),
    (89.17, BAND, SIMPLE, "undecided"),
    (89.10, BAND, SIMPLE, "fail"),
    (0.0, MOST, SIMPLE, "pass"),
    (110.90, MOST, SIMPLE, "fail"),
    (107.99, BAND, GUARDED, "pass"),
    (108.01, BAND, GUARDED, "undecided"),
    (112.01, BAND, GUARDED, "fail"),
    (87.99, BAND, GUARDED, "fail"),
)


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def checks() -> Iterator[Check]:
    zarr13 = measured(9.261460, readings=(0.022789 / math.sqrt(195), 194))
    yield from clause_checks(
        *(HANDBOOK, "1.3.5.2 confidence limits of the mean, ZARR13, 90 %", "from memory"),
        ("lower limit", 9.258764, 2e-6, lambda: zarr13.value - scatter_half_width(zarr13)),
        ("upper limit", 9.264156, 2e-6, lambda: zarr13.value + scatter_half_width(zarr13)),
    )
    for dof, t in TABLE_G2_90.items():
        one = measured(100.0, readings=(1.0, dof))
        yield from clause_checks(
            *("GUM (JCGM 100:2008)", "table G.2, 90 %", "from memory"),
            (f"t for {dof:g} degrees of freedom", t, 0.0051, partial(scatter_half_width, one)),
        )
    several = measured(100.0, readings=(0.3, 9), estimated=(0.4, 5), type_b=1.0)
    yield from clause_checks(
        *("GUM (JCGM 100:2008)", "5.1.2 of lines 0.3 and 0.4 alone, 5 at least", "reference"),
        ("half width", 0.5 * stats.t.ppf(0.95, 5), 1e-6, lambda: scatter_half_width(several)),
    )
    for value, target, rule, verdict in VERDICTS:
        what = f"{value:.2f} within {target.lower:g} to {target.upper:g}, {type(rule).__name__}"
        row = (what, verdict, 0.0, partial(decided, value, target, rule))
        yield from clause_checks("GUM table G.2", "t u = 0.862 of 20 readings", "reference", row)
    yield from ends()
    yield from spiked()


def measured(
    value: float,
    readings: tuple[float, float],
    estimated: tuple[float, float] | None = None,
    type_b: float = 0.0,
) -> Measured:
    """A value with lines (u, dof) of its readings and one of all else; k = 2."""
    parts = [("readings", readings), ("lag, droop and hunting", estimated)]
    lines = [
        BudgetEntry(
            source=name,
            evaluation="A",
            standard_uncertainty=one[0],
            dof=None if math.isinf(one[1]) else one[1],
        )
        for name, one in parts
        if one is not None
    ]
    lines.append(BudgetEntry(source="meter", evaluation="B", standard_uncertainty=type_b))
    return Measured(
        value=value,
        uncertainty=math.hypot(*(line.standard_uncertainty for line in lines)),
        dof=AMPLE_DOF,
        age_s=6.0,
        coverage_factor=2.0,
        budget=tuple(lines),
    )


def at(value: float, scatter: float = 0.5) -> Measured:
    return measured(value, readings=(scatter, 20), type_b=math.sqrt(1.0 - scatter**2))


def decided(value: float, target: Target, rule: Decision) -> str:
    return judge(at(value), target, rule)[0]


def ends() -> Iterator[Check]:
    """Whether more readings could decide, which take away the readings' part of U and no other.

    Of u = 1 the meter has 0.866: without scatter a guard band of 1.96 of it is 1.697 wide, and
    readings may be off by 0.862.
    """
    rows: tuple[tuple[str, Measured, Value], ...] = (
        ("109.5, between 109.17 and 110.83", at(109.5), "undecided for good"),
        ("108.1, may be decided", at(108.1), "undecided"),
        ("111.5, may be decided", at(111.5), "undecided"),
        ("100", at(100.0), "final"),
        ("120", at(120.0), "final"),
    )
    for what, value, expected in rows:
        row = (what, expected, 0.0, partial(future, value))
        yield from clause_checks("exact arithmetic", "guard band, U = 2", "reference", row)


def future(value: Measured) -> str:
    if stays_undecided(value, BAND, GUARDED):
        return "undecided for good" if is_final(value, BAND, GUARDED) else "not final"
    return "final" if is_final(value, BAND, GUARDED) else "undecided"


# ---- spikes --------------------------------------------------------------------------------

JUMP_AT = 17


def residuals(count: int, jump: float) -> np.ndarray:
    left = np.random.default_rng(4).normal(0.0, 0.01, count)
    left[JUMP_AT] += jump
    return left + 5.0


def jumps_by_mad(left: np.ndarray, correlation: float) -> float:
    """How many shocks exceed six robust sd, are half a jump at least, and half gone at the next.

    Shocks by scipy's filter, their sd by its normalised median absolute deviation about 0.
    """
    shocks = signal.lfilter([1.0, -correlation], [1.0], left - np.median(left))[1:]
    spread = stats.median_abs_deviation(shocks, center=lambda _, axis: 0.0, scale="normal")
    jumps = np.diff(left)
    is_back = -jumps[1:] * shocks[:-1] > 0.5 * shocks[:-1] ** 2
    is_jump = (np.abs(shocks) > 6.0 * spread) & (jumps * shocks > 0.5 * shocks**2)
    return float(np.count_nonzero(is_jump & np.append(is_back, True)))


def spiked() -> Iterator[Check]:
    sizes = np.linspace(-0.12, 0.12, 25)
    for count, correlation in ((40, 0.0), (41, 0.0), (41, 0.7)):
        expected = sum(jumps_by_mad(residuals(count, size), correlation) for size in sizes)
        clause = f"jumps in {count} residuals, correlation {correlation:g}"
        yield from clause_checks(
            *("scipy median_abs_deviation", clause, "reference"),
            ("spikes found", expected, 0.0, partial(spikes_found, count, sizes, correlation)),
        )


def spikes_found(count: int, sizes: np.ndarray, correlation: float) -> float:
    keep = np.ones(count, dtype=bool)
    return float(sum(spikes(residuals(count, size), correlation, keep).sum() for size in sizes))
