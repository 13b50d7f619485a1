"""The drift of a sense gain over the months."""

from __future__ import annotations

from itertools import accumulate
from math import exp, floor

from .profile import Ageing
from .randomness import Randomness


def gain(unit: Randomness, sense: str, mode: str, physics: Ageing, months: float) -> float:
    """Sense gain of a unit's `mode` at the age `months`: ln g = start + creep * months + wander.

    The creep belongs to the sensor, so all modes share it; start and wander belong to the mode. One
    seed gives one history: an older age continues a younger one.
    """
    of_mode = unit.under(sense, mode)
    start = of_mode.between("start", physics.start)
    creep = unit.under(sense).between("creep", physics.creep_per_month)
    wander = physics.wander_per_month * _walk(of_mode, months)
    return exp(start + creep * months + wander)


def _walk(of_mode: Randomness, months: float) -> float:
    """A random walk of one standard normal step a month, linear within each month."""
    whole = floor(months)
    steps = of_mode.stream("wander").standard_normal(whole + 1).tolist()
    places = [0.0, *accumulate(steps)]
    return float(places[whole] + (months - whole) * (places[whole + 1] - places[whole]))
