"""A droop whose heat begins with the output, and which acts before the lag: two delays late."""

from __future__ import annotations

import numpy as np
import pytest

from ohmwright.estimation.activation_record import ActivationRecord
from ohmwright.estimation.coefficients import Steps
from ohmwright.estimation.prior import NoisePrior, vague_prior
from ohmwright.estimation.transient_estimate import fit_transient

_STEP_S, _LAG_S, _DEAD_S, _TAU_S, _AGE_S = 0.01, 0.8, 0.6, 7.0, 6.0
_WINDOW_S, _NOISE = 0.5, 0.001


def _readings(droop: float, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Ages and readings of an output that is 1 where cold: own equations, stepped in time."""
    output, warmth, outputs = 0.0, 0.0, []
    for n in range(round(9.0 / _STEP_S)):
        goal = (1 - droop * warmth) if n * _STEP_S >= _DEAD_S else 0.0
        output += _STEP_S / _LAG_S * (goal - output)
        warmth += _STEP_S / _TAU_S * (output**2 - warmth)
        outputs.append(output)
    sums = np.concatenate([[0.0], np.cumsum(outputs)])
    window = round(_WINDOW_S / _STEP_S)
    ends = np.arange(window, len(outputs), round(0.2 / _STEP_S))
    means = (sums[ends] - sums[ends - window]) / window
    return ends * _STEP_S, means * (1 + _NOISE * rng.normal(size=ends.size))


@pytest.mark.parametrize("droop", [0.015, 0.03])
def test_the_uncertainty_holds_the_lag_free_output(droop: float) -> None:
    truth, held = 1 - droop * (1 - np.exp(-_AGE_S / _TAU_S)), 0
    for seed in range(30):
        age_s, relative = _readings(droop, np.random.default_rng(seed))
        record = ActivationRecord(
            age_s, relative, Steps.switching_on(), _WINDOW_S, 0.0, _AGE_S, 0.0
        )
        fit = fit_transient(record, vague_prior(), NoisePrior(), None, departures=True)
        assert fit is not None
        level = fit.level(0.0)
        held += abs(level.mean - truth) <= 2 * level.sd
    assert held >= 28
