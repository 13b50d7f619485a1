"""The settle-bound oracle on a foreign unit: knows all of it, and still waits for its rise.

It watches the unit without noise and hunting, waits until the reading has come within a tenth of
the tolerance of its end for good, then averages until the mean is good enough: to land
(probability 0.98), and in a second activation to confirm (0.999).
"""

from __future__ import annotations

from dataclasses import replace
from math import ceil, hypot, sqrt

import numpy as np

from .drawn import Drawn
from .unit import ForeignUnit

_LEFT = 0.1
_LAND, _CONFIRM = 2.33, 3.29
"""Two-sided normal quantiles of 0.98 and 0.999."""
_WATCHED_S = 25.0
_CORRELATED = 3.0
"""Readings say as much as a third of so many independent ones: what AR(1) noise of 0.5 does."""
_ROOM = 0.8
"""Of the tolerance: the oracle lands within a fifth of it."""


def oracle_s(unit: Drawn) -> float:
    """RF-on time of landing and confirming, s."""
    noise = hypot(unit.meter_noise, unit.pink, unit.digit_ma / sqrt(12) / unit.target_ma)
    relative = noise * unit.target_ma / (_ROOM * unit.tolerance_ma)
    readings = sum(ceil(_CORRELATED * (k * relative) ** 2) for k in (_LAND, _CONFIRM))
    return 2 * _settling_s(unit) + readings / unit.readings_per_s


def _settling_s(unit: Drawn) -> float:
    quiet = replace(
        unit,
        pink=0.0,
        hunting=0.0,
        meter_noise=0.0,
        droop=0.0,
        outer_droop=0.0,
        warm_up=0.0,
        ageing_per_s=0.0,
        digit_ma=1e-6,
        readings_per_s=20.0,
        line_step=0.0,
    )
    plant = ForeignUnit(quiet, np.random.default_rng(0))
    end_ma = plant.truth_ma()  # nothing of a quiet unit changes it
    plant.activate(_WATCHED_S)
    settled_s = 0.0
    while plant.next_age_s() < _WATCHED_S:
        age_s, current_ma = plant.read()
        if abs(current_ma - end_ma) > _LEFT * unit.tolerance_ma:
            settled_s = age_s
    return settled_s
