"""The uncertainty of a value whose ages are inexact: a person keyed RF, or looked at the meter.

The output droops while RF is on, so a value at a stated age is off by the droop within the time by
which its readings' ages may be off.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot, sqrt

from ohmwright.estimation.settled_value import Settled
from ohmwright.instruments.bench import Bench
from ohmwright.uncertainty.inputs import resolution_uncertainty

_USUAL_DROOP_PER_S = 0.015 / 6.0
"""Largest relative loss in a second, where the data state none; common practice, no source."""


def dated(settled: Settled, bench: Bench) -> Settled:
    """Return `settled` with the uncertainty from a person's timing and from coarse typed digits."""
    analyzer = bench.analyzer
    if not analyzer.released_by_hand:
        return settled
    off_ma = abs(settled.value) * droop_per_s(bench) * analyzer.dating_s
    dating_ma = off_ma / sqrt(3)  # rectangular distribution
    digit_ma = resolution_uncertainty(analyzer.digit_ma)
    scatter_ma = settled.uncertainty if settled.scatter is None else settled.scatter
    coarser_ma = sqrt(max(0.0, digit_ma**2 - scatter_ma**2))
    return replace(
        settled,
        uncertainty=hypot(settled.uncertainty, coarser_ma, dating_ma),
        scatter=hypot(scatter_ma, coarser_ma),
        dating=dating_ma,
    )


def droop_per_s(bench: Bench) -> float:
    """Return the most that the output may lose in a second, relative: at the very beginning."""
    droop = bench.generator.data.droop
    return _USUAL_DROOP_PER_S if droop is None else droop.largest / min(droop.tau_s)
