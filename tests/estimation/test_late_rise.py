"""What the latest readings say of an output that may still be arriving."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.regression.linear_model import OLS

from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.sequential_test import (
    ActivationTest,
    DecisionBounds,
    Estimate,
    latest_readings,
)

AGE_S = np.arange(0.1, 6.05, 0.1)


def noise(seed: int, correlation: float, sd: float) -> np.ndarray:
    rng, found = np.random.default_rng(seed), np.zeros(AGE_S.size)
    for i in range(1, found.size):
        found[i] = correlation * found[i - 1] + rng.normal(0, sd * (1 - correlation**2) ** 0.5)
    return found


def test_the_line_is_that_of_the_last_two_seconds():
    value = np.where(AGE_S > 4.0, 0.3 * (AGE_S - 5.0), -9.0)
    found = latest_readings(AGE_S, value, 0.5)
    assert found.slope == pytest.approx(0.3)
    assert found.mean == pytest.approx(0.3 * (np.mean(AGE_S[AGE_S > 4.0]) - 5.0))
    assert found.rise_beyond(0.29)
    assert not found.rise_beyond(0.31)


def test_slow_meters_give_six_readings_or_nothing():
    assert latest_readings(np.arange(5.0), np.arange(5.0), 0.0) is None
    assert latest_readings(np.arange(6.0), np.arange(6.0), 0.0).slope == pytest.approx(1.0)


def test_noise_alone_is_seldom_taken_for_a_rise():
    rises = [
        latest_readings(AGE_S, noise(seed, 0.5, 0.2), 0.5).rise_beyond(0.0) for seed in range(400)
    ]
    assert np.mean(rises) < 0.08


def test_without_correlation_it_is_ordinary_least_squares():
    """Against statsmodels' own."""
    value = 0.1 * AGE_S + noise(3, 0.0, 0.2)
    found = latest_readings(AGE_S, value, 0.0)
    last = AGE_S > 4.0
    at_s = AGE_S[last] - np.mean(AGE_S[last])
    theirs = OLS(value[last], np.column_stack([np.ones(at_s.size), at_s])).fit()
    assert (found.mean, found.slope) == pytest.approx(tuple(theirs.params))
    assert (found.mean_sd, found.slope_sd) == pytest.approx(tuple(theirs.bse))


FILTERED = (913.4, 922.8, 932.2, 941.1, 956.1, 965.2, 978.4, 987.0, 994.7, 1003.2, 1012.9)
FILTERED += (1024.5, 1038.0, 1048.6, 1058.2, 1066.3, 1072.4, 1079.7, 1083.5, 1087.1, 1090.2)
"""The end of a rise that a filter shows, in mA, each 0.2 s: of a foreign plant's output of 1116 mA,
which was accepted as 1078 mA within 1115 mA."""


@pytest.mark.parametrize(("value_ma", "outcome"), [(1078.0, "undecided"), (1095.0, "in tolerance")])
@pytest.mark.parametrize("standing", [False, True])
def test_a_value_that_rising_readings_have_passed_is_not_decided(
    monkeypatch: pytest.MonkeyPatch, value_ma: float, outcome: str, standing: bool
) -> None:
    test = ActivationTest(Question(1072.0, 42.9, 2.8, 0.1), DecisionBounds(0.99, 0.99, 3.0))
    error = Mixture(np.ones(1), np.array([(value_ma - 1072) / 42.9]), np.array([0.17]), 50.0)
    monkeypatch.setattr(test, "estimate", lambda *_: Estimate(error, remainder=0.6, lag_s=0.7))
    value = np.array(FILTERED)
    if standing:  # at the same place, without a rise, nothing is against either value
        rng = np.random.default_rng(1)
        value, outcome = 1090 + rng.normal(size=value.size), "in tolerance"
    assert test.outcome(0.2 * np.arange(9, 9 + value.size), value) == outcome
