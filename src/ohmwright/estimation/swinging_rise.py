"""A rise that swings, as one whose regulator is lightly damped: two complex poles for two lags.

`lag_s` is the time constant with which its swings die away, `sharpness` one over its damping ratio,
above 1; at 1 it is a rise by two equal lags of `lag_s`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Complexes = NDArray[np.complex128]


def swinging_response(
    since_s: Floats,
    window_s: float,
    *,
    lag_s: Floats | float,
    dead_time_s: Floats | float,
    sharpness: Floats | float,
) -> Floats:
    """Mean response to a unit step over a meter's window that ends `since_s` after the step.

    All broadcast with `since_s`.
    """
    pole = _poles_s(lag_s, sharpness)
    late, early = _ends_s(since_s, window_s, dead_time_s)
    decay = np.exp(-late / pole) - np.exp(-early / pole)
    integral: Floats = late - early + np.imag(pole**2 * decay) / np.imag(pole)
    integral /= window_s
    return integral


def swinging_with_slopes(
    since_s: Floats, window_s: float, dynamics: Floats, delay: Floats | float
) -> Floats:
    """`swinging_response` and its slopes, shape (4, k, n).

    The slopes are with respect to the logarithms of lag, dead time and sharpness. `since_s` (k, n);
    `delay` (k, 1): factor on dead time and lag, `dynamics` (3,).
    """
    lag_s, dead_time_s, sharpness = dynamics.tolist()
    poles_s = np.asarray(pole_s(lag_s, sharpness) * delay)
    late, early = _ends_s(since_s, window_s, dead_time_s * delay)
    decay_late, decay_early = np.exp(-late / poles_s), np.exp(-early / poles_s)
    decay = decay_late - decay_early
    height = poles_s.imag
    swing = poles_s**2 * decay
    # by the logarithm of the pole
    by_pole = 2 * swing + poles_s * (late * decay_late - early * decay_early)
    turned = -1 - 1j / np.sqrt(sharpness**2 - 1)  # change of that by the sharpness
    found = np.empty((4, *since_s.shape))
    found[0] = late - early + swing.imag / height
    found[1] = (by_pole.imag - swing.imag) / height
    found[2] = dead_time_s * delay * (poles_s * decay).imag / height
    height_by = (poles_s * turned).imag / height
    found[3] = (by_pole * turned).imag / height - swing.imag / height * height_by
    found /= window_s
    return found


def left_to_swing(since_s: float, lag_s: float, sharpness: float) -> float:
    """Largest part of the step by which the output is still off from `since_s` after it on."""
    amplitude = 1 / np.sqrt(1 - sharpness**-2)
    return float(amplitude * np.exp(-max(since_s, 0.0) / lag_s))


def pole_s(lag_s: float, sharpness: float) -> complex:
    """One of both poles, as a complex time constant."""
    return complex(_poles_s(lag_s, sharpness))


def _poles_s(lag_s: Floats | float, sharpness: Floats | float) -> Complexes:
    damping = 1 / np.asarray(sharpness)
    return np.asarray(lag_s * damping * np.exp(-1j * np.arccos(damping)), dtype=np.complex128)


def _ends_s(since_s: Floats, window_s: float, dead_time_s: Floats | float) -> tuple[Floats, Floats]:
    """Time from the end of the dead time to the end of the window, and to its beginning."""
    late: Floats = np.maximum(since_s - dead_time_s, 0.0)
    early: Floats = np.maximum(since_s - window_s - dead_time_s, 0.0)
    return late, early
