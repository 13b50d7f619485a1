"""Readings that follow moves sooner than means over the stated window could."""

from __future__ import annotations

import numpy as np
import pytest

from ohmwright.estimation.activation_record import ActivationRecord
from ohmwright.estimation.coefficients import Steps
from ohmwright.estimation.followed_moves import window_by_moves_s

MOVES_S = (2.05, 2.65, 3.25, 3.85)
CHANGES = (0.02, -0.06, 0.03, -0.04)
STATED_S = 0.4


def _record(window_s: float, noise: float, seed: int = 0) -> ActivationRecord:
    """Readings every 0.2 s as means over `window_s`, of an output that follows moves at once."""
    age_s = np.arange(0.4, 5.0, 0.2)
    value = np.ones(age_s.size)
    for at_s, change in zip(MOVES_S, CHANGES, strict=True):
        value += change * np.clip((age_s - at_s) / window_s, 0, 1)
    draws = np.random.default_rng(seed)
    at_s = np.array([0.0, *MOVES_S])
    return ActivationRecord(
        age_s=age_s,
        relative=value + noise * draws.standard_normal(age_s.size),
        steps=Steps(at_s, np.zeros((at_s.size, 4))),
        window_s=STATED_S,
        resolution=1e-4,
        at_age_s=3.0,
        heat=0.0,
    )


@pytest.mark.parametrize("window_s", [1e-6, 0.05, 0.1])
def test_a_window_that_is_stated_too_long_is_seen(window_s: float) -> None:
    seen_s = window_by_moves_s(_record(window_s, 0.0005))
    assert window_s <= seen_s < 0.3


@pytest.mark.parametrize("seed", range(20))
@pytest.mark.parametrize("noise", [0.0, 0.001, 0.01, 0.03])
def test_a_true_window_is_believed(noise: float, seed: int) -> None:
    assert window_by_moves_s(_record(STATED_S, noise, seed)) == STATED_S


def test_one_move_alone_says_nothing() -> None:
    record = _record(1e-6, 0.0)
    few = record.age_s < MOVES_S[1]
    one = ActivationRecord(
        age_s=record.age_s[few],
        relative=record.relative[few],
        steps=Steps(np.array([0.0, MOVES_S[0]]), np.zeros((2, 4))),
        window_s=STATED_S,
        resolution=1e-4,
        at_age_s=3.0,
        heat=0.0,
    )
    assert window_by_moves_s(one) == STATED_S
