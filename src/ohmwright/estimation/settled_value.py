"""The settled value of one activation: the output at a stated age, free of lag.

There is no fixed wait: the remainder of the lag is estimated from the readings, and the value is
settled once that remainder is small against the value or its uncertainty. The readings' noise is
correlated (AR(1)), so neighbours do not count as independent.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np
from numpy.typing import NDArray

from .activation_record import ActivationRecord
from .coefficients import Coefficient, Steps
from .prior import NoisePrior, vague_prior
from .transient_estimate import TransientEstimate, fit_transient

Floats = NDArray[np.float64]

_NEGLIGIBLE_REMAINDER = 0.002
"""Remainder of the lag, relative to the value, with which a value is settled, however certain."""
_LARGEST_REMAINDER = 0.005
"""Remainder, relative to the value, above which no value is settled, however uncertain."""
_MODEL = 0.0005
"""Standard uncertainty of the model itself, relative to the value."""
_LEVEL_SD = 0.3
"""Prior standard deviation of the value, relative to the latest readings."""

JUMPS = "the meter's readings jump there and back"
"""Reason for a value that is not settled since more than a few readings are spikes."""

_FEWEST = 5
"""Readings from which on no output is told from one that has not risen yet."""
_NO_OUTPUT_DIGITS = 3.0
"""Largest reading without an output, in units of the meter's last digit."""


@dataclass(frozen=True)
class Settled:
    """A value with its standard uncertainty, in the unit of the readings.

    `dof`: effective degrees of freedom; `autocorrelation`: of neighbouring readings; `reason`: why
    the value is not settled, empty where it is. Parts of `uncertainty` are `scatter`, from the
    readings' noise alone, `extrapolation`, from what was not seen (lag still to come, whether droop
    acts before or after the lag, the model itself), and `dating`; what remains is from lag, droop
    and hunting as estimated.
    """

    value: float
    uncertainty: float
    dof: float
    autocorrelation: float
    settled: bool
    reason: str = ""
    scatter: float | None = None
    """None where the uncertainty is all scatter."""
    extrapolation: float = 0.0
    dating: float = 0.0
    """Part of the uncertainty from ages that a person told; 0 where the readings have their own."""


def pooled(first: Settled, second: Settled) -> Settled:
    """The mean value of two rested activations of an output that nobody touched between them.

    Weighted by inverse variances (GUM H.5 pools so where both are of one quantity). The uncertainty
    of extrapolation is common to both, and not made less by the mean. Where the values differ by
    more than twice their standard uncertainty, half of the excess is added.
    """
    share = second.uncertainty**2 / (first.uncertainty**2 + second.uncertainty**2)
    shares = (share, 1 - share)
    own = [sqrt(max(0.0, s.uncertainty**2 - s.extrapolation**2)) for s in (first, second)]
    apart = abs(first.value - second.value) - 2 * hypot(*own)
    common = float(np.dot(shares, (first.extrapolation, second.extrapolation)))
    scatters = [s.uncertainty if s.scatter is None else s.scatter for s in (first, second)]
    return Settled(
        value=float(np.dot(shares, (first.value, second.value))),
        uncertainty=hypot(*np.multiply(shares, own), common, max(0.0, apart) / 2),
        dof=first.dof + second.dof,
        autocorrelation=second.autocorrelation,
        settled=first.settled and second.settled,
        reason=second.reason or first.reason,
        scatter=hypot(*np.multiply(shares, scatters)),
        extrapolation=common,
        dating=hypot(*np.multiply(shares, (first.dating, second.dating))),
    )


def settled_value(
    age_s: Floats,
    value: Floats,
    *,
    at_age_s: float = 6.0,
    window_s: float,
    resolution: float,
    largest_droop: float | None = None,
) -> Settled:
    """The output at `at_age_s`, free of lag, from the readings of one rested activation.

    `age_s`, `value`: shape (n,), each reading the mean over `window_s` ending at its age;
    `largest_droop`: the most that a unit of its model droops, relative; None where not stated.
    Without an output the value is the readings' mean, near zero, and settled. It is not settled
    while readings are too few or jump, or the remainder of the lag still matters.
    """
    if value.size >= _FEWEST and np.max(value) <= _NO_OUTPUT_DIGITS * resolution:
        return _no_output(value, resolution)
    level = float(np.median(value[-3:])) if value.size else 0.0
    fit = None
    if level > 0:
        record = ActivationRecord(
            age_s=age_s,
            relative=value / level,
            steps=Steps.switching_on(),
            window_s=window_s,
            resolution=resolution / level,
            at_age_s=at_age_s,
            heat=0.0,
        )
        fit = _fit(record, largest_droop)
    if fit is None:
        mean = float(np.mean(value)) if value.size else float("nan")
        return Settled(mean, float("inf"), 1.0, 0.0, False, "too few readings of a risen output")
    found = fit.level(_MODEL).rescaled(0.0, 1 / level)
    rising = _why_not_settled(found.mean, found.sd, level * fit.remainder)
    reason = JUMPS if fit.jumps else rising
    return Settled(
        value=found.mean,
        uncertainty=found.sd,
        dof=found.dof,
        autocorrelation=fit.autocorrelation,
        settled=reason == "",
        reason=reason,
        scatter=level * fit.scatter,
        extrapolation=level * hypot(fit.extrapolation, _MODEL),
    )


def _fit(record: ActivationRecord, largest_droop: float | None) -> TransientEstimate | None:
    """Estimate with departures from the model allowed for; None without a rise."""
    prior = vague_prior(largest_droop).with_coefficient(Coefficient.LEVEL, 1.0, _LEVEL_SD)
    return fit_transient(record, prior, NoisePrior(), None, departures=True)


def _no_output(value: Floats, resolution: float) -> Settled:
    """The mean of readings of no output; uncertain by their scatter, at least the last digit."""
    scatter = float(np.std(value, ddof=1)) / sqrt(value.size)
    uncertainty = max(scatter, resolution / sqrt(12.0))
    return Settled(float(np.mean(value)), uncertainty, value.size - 1.0, 0.0, True)


def _why_not_settled(value: float, uncertainty: float, remainder: float) -> str:
    """Why the value is not settled; empty where it is.

    `remainder`: bound of the lag still to come after the last reading; all in the readings' unit.
    """
    allowed = min(2 * uncertainty, _LARGEST_REMAINDER * abs(value))
    if remainder > max(allowed, _NEGLIGIBLE_REMAINDER * abs(value)):
        return "the output is still rising or falling"
    return ""
