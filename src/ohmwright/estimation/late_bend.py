"""Whether an output bends after the age asked for, as no model here does.

An output that is reduced once the unit gets warm stands for a while, then sinks. A model of all its
readings makes one course of both, and misses those about the age asked for: then what came later
says nothing of that age.
"""

from __future__ import annotations

from math import sqrt

import numpy as np
from numpy.typing import NDArray

from .mixture import Mixture

Floats = NDArray[np.float64]

ABOUT_S = 1.5
"""Readings no farther from an age show the output then without any model."""
_FEWEST, _FEWEST_LATER = 4, 6
"""Least number of such readings, and of later ones."""
_CONTRADICTS_SDS = 1.5
"""A value so far from the readings about its age, in standard deviations, is theirs no more: it is
made of them, too, so that it lies nearer as a rule."""


def bends(age_s: Floats, value: Floats, until_s: float, found: Mixture, correlation: float) -> bool:
    """Return whether readings, shape (n,) each, contradict a value `found` by all of them.

    Those up to `until_s`, the last of those about the age asked for, do; and the later ones sink
    from there. `correlation`: of the noise of neighbouring readings.
    """
    about = value[_is_about(age_s, until_s)]
    if about.size < _FEWEST or not _sinks(about, value[age_s > until_s]):
        return False
    sd = float(np.hypot(found.sd, _mean_sd(about, correlation)))
    return abs(found.mean - float(np.median(about))) > _CONTRADICTS_SDS * sd


def sinks_about(age_s: Floats, value: Floats, until_s: float) -> bool:
    """Return whether the readings up to `until_s` sink, so that their rise is over."""
    first, last = np.array_split(value[_is_about(age_s, until_s)], 2)
    return last.size > 1 and bool(np.median(last) < np.median(first))


def _is_about(age_s: Floats, until_s: float) -> NDArray[np.bool_]:
    """Which readings, (n,), are about the age asked for, the last of them at `until_s`."""
    return (age_s >= until_s - 2 * ABOUT_S) & (age_s <= until_s)


def _sinks(before: Floats, later: Floats) -> bool:
    """Whether the medians of some readings, and of each third of `later` ones, fall in a row.

    An output that hunts comes back.
    """
    if later.size < _FEWEST_LATER:
        return False
    medians = [np.median(part) for part in (before, *np.array_split(later, 3))]
    return bool(np.all(np.diff(medians) < 0))


def _mean_sd(value: Floats, correlation: float) -> float:
    """Standard deviation of a mean by what neighbours differ by, which no slow course changes."""
    variance = float(np.var(np.diff(value))) / (2 * (1 - correlation))
    return sqrt(variance * (1 + correlation) / (1 - correlation) / value.size)
