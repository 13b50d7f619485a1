"""What a meter with a window shows of a step through dead time and two poles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Steps:
    """What drove the output in one activation: the switching on (first row) and each move.

    `at_s` (k,): age of each step; `weights` (k, 4): how much it adds to level, counts, coarse
    presses and curvature (squared counts over 200).
    """

    at_s: Floats
    weights: Floats


def window_mean_response(since_s: Floats, window_s: float, dynamics: Floats) -> Floats:
    """Mean over the window of the unit step response; shape (b, *since_s.shape).

    `dynamics` (b, 3): lag s, dead time s, second lag over the first.
    """
    lag_s, dead_s, ratio = (dynamics[:, i, None, None] for i in range(3))
    second_s = lag_s * ratio
    late = np.maximum(since_s - dead_s, 0.0)
    early = np.maximum(since_s - window_s - dead_s, 0.0)
    slow = lag_s**2 / (lag_s - second_s)
    fast = second_s**2 / (lag_s - second_s)
    integral = late - early
    integral += slow * (np.exp(late / -lag_s) - np.exp(early / -lag_s))
    integral -= fast * (np.exp(late / -second_s) - np.exp(early / -second_s))
    mean: Floats = integral / window_s
    return mean


def driven(age_s: Floats, window_s: float, dynamics: Floats, steps: Steps) -> Floats:
    """Responses to level, counts, coarse presses and curvature; shape (b, n, 4)."""
    since_s = age_s[None, :] - steps.at_s[:, None]
    each = window_mean_response(since_s, window_s, dynamics)
    columns: Floats = each.swapaxes(1, 2) @ steps.weights
    return columns
