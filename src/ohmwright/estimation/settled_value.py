"""The settled value of one activation: the output at a stated age, free of lag.

There is no fixed wait: the remainder of the lag is estimated from the readings, and the value is
settled once that remainder is small against the value or its uncertainty. The readings' noise is
correlated (AR(1)), so neighbours do not count as independent.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import sqrt

import numpy as np
from numpy.typing import NDArray

from .exponential_tail import Tail, fit_tail

Floats = NDArray[np.float64]

_REMAINDER = 0.002
"""A remainder of the lag under this part of the value no longer matters."""
_REMAINDER_AT_MOST = 0.005
"""Nor does one under this part that is small against the uncertainty."""
_UNSEEN = 0.2
"""What the extrapolation of the lag may be wrong by, relative to the lag still to come."""
_MODEL = 0.0005
"""What the fixed time constant of the droop may cost, relative to the value."""

_FEWEST = 5
_NO_OUTPUT_DIGITS = 3.0
"""Readings that never exceed so many of the meter's last digits are of no output."""


@dataclass(frozen=True)
class Settled:
    """A value with its standard uncertainty, in the unit of the readings.

    `dof`: effective degrees of freedom; `autocorrelation`: of neighbouring readings; `reason`: why
    the value is not settled, empty where it is.
    """

    value: float
    uncertainty: float
    dof: float
    autocorrelation: float
    settled: bool
    reason: str = ""


def settled_value(
    age_s: Floats,
    value: Floats,
    *,
    at_age_s: float = 6.0,
    window_s: float,
    resolution: float,
) -> Settled:
    """Output at `at_age_s`, free of lag, from the readings of one rested activation.

    `age_s`, `value`: shape (n,), each reading the mean over `window_s` ending at its age.
    Readings of no output are settled at their mean, near zero. `settled` is False, with the reason,
    while readings are too few or the remaining lag is small neither against the value nor against
    its uncertainty.
    """
    if value.size >= _FEWEST and np.max(value) <= _NO_OUTPUT_DIGITS * resolution:
        return _no_output(value, resolution)
    tail = fit_tail(age_s, value, at_age_s=at_age_s, window_s=window_s, resolution=resolution)
    if tail is None:
        mean = float(np.mean(value)) if value.size else float("nan")
        return Settled(mean, float("inf"), 1.0, 0.0, False, "too few readings of a risen output")
    uncertainty = float(
        np.linalg.norm([tail.value.sd, _UNSEEN * _remainder(tail), _MODEL * tail.value.mean])
    )
    reason = _why_not_settled(tail, uncertainty)
    return Settled(
        value=tail.value.mean,
        uncertainty=uncertainty,
        dof=tail.dof,
        autocorrelation=tail.autocorrelation,
        settled=reason == "",
        reason=reason,
    )


def _no_output(value: Floats, resolution: float) -> Settled:
    """Mean of readings of no output, unsure by their scatter or the meter's last digit."""
    scatter = float(np.std(value, ddof=1)) / sqrt(value.size)
    uncertainty = max(scatter, resolution / sqrt(12.0))
    return Settled(float(np.mean(value)), uncertainty, value.size - 1.0, 0.0, True)


def _remainder(tail: Tail) -> float:
    """Largest lag to be expected after the last reading, unit of the readings."""
    return abs(tail.remainder) + tail.remainder_sd


def _why_not_settled(tail: Tail, uncertainty: float) -> str:
    """Why the value is not settled; empty where it is."""
    value = abs(tail.value.mean)
    allowed = min(2 * uncertainty, _REMAINDER_AT_MOST * value)
    if _remainder(tail) > max(allowed, _REMAINDER * value):
        return "the output is still rising or falling"
    return ""
