"""A rise by two lags as a true-RMS meter shows it that averages squares over its window.

The root of the mean of squares rises sooner than the mean: halfway through its window a step that
comes at once is shown as 0.71, and not as 0.5. Moves of an output that has risen are small beside
it, so that of them the mean and the root of the mean of squares are the same.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_APART = 1e-4
"""Change of a logarithm by which slopes are taken, to both sides."""
_AROUND: Floats = np.exp(_APART * np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)]))


def rms_rise(age_s: Floats, window_s: float, times: Floats) -> Floats:
    """Root of the mean of squares over the window that ends at `age_s` (n,), shape (b, n).

    Of the response to a unit step at age 0. `times` (b, 3): of each case lag s, dead time s and
    ratio of the second time constant to the first, below 1.
    """
    lag_s, dead_time_s, ratio = times.T[:, :, None]
    taus_s = (lag_s, ratio * lag_s)
    since_s = age_s - dead_time_s
    late, early = np.maximum(since_s, 0.0), np.maximum(since_s - window_s, 0.0)
    slow, fast = ((np.exp(-late / tau_s), np.exp(-early / tau_s)) for tau_s in taus_s)
    # the response is 1 - a exp(-t / lag) + b exp(-t / second); its square, integrated term by term
    a, b = 1 / (1 - ratio), ratio / (1 - ratio)
    both_s = lag_s * ratio / (1 + ratio)
    integral = late - early
    integral += 2 * a * taus_s[0] * (slow[0] - slow[1]) - 2 * b * taus_s[1] * (fast[0] - fast[1])
    integral -= 0.5 * a**2 * taus_s[0] * (slow[0] ** 2 - slow[1] ** 2)
    integral -= 0.5 * b**2 * taus_s[1] * (fast[0] ** 2 - fast[1] ** 2)
    integral += 2 * a * b * both_s * (slow[0] * fast[0] - slow[1] * fast[1])
    rise: Floats = np.sqrt(np.maximum(integral, 0.0) / window_s)
    return rise


def rms_rise_with_slopes(age_s: Floats, window_s: float, times: Floats) -> Floats:
    """`rms_rise` of one case, `times` (3,), and its slopes by the logarithms of these, (4, n)."""
    found = rms_rise(age_s, window_s, times * _AROUND)
    slopes = (found[1:4] - found[4:]) / (2 * _APART)
    return np.concatenate([found[:1], slopes])
