import allantools
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.fleet import stability

PAIRS = [
    (stability.allan_deviation, allantools.adev),
    (stability.overlapping_allan_deviation, allantools.oadev),
    (stability.modified_allan_deviation, allantools.mdev),
    (stability.hadamard_deviation, allantools.hdev),
    (stability.overlapping_hadamard_deviation, allantools.ohdev),
    (stability.time_deviation, allantools.tdev),
]


@given(st.integers(0, 1000), st.integers(1, 12), st.sampled_from(PAIRS))
def test_agrees_with_allantools(seed: int, span: int, pair: tuple) -> None:
    readings = 300.0 + np.cumsum(np.random.default_rng(seed).normal(size=80))
    ours, theirs = pair
    _, expected, _, _ = theirs(readings, rate=1.0, data_type="freq", taus=[span])
    assert ours(readings, span) == pytest.approx(expected[0], rel=1e-9)


def test_white_noise_averages_down_and_a_drift_does_not_hide_from_allan() -> None:
    noise = np.random.default_rng(1).normal(size=4000)
    assert stability.overlapping_allan_deviation(noise, 100) == pytest.approx(0.1, rel=0.15)
    ramp = np.arange(4000.0)
    assert stability.allan_deviation(ramp, 100) == pytest.approx(100 / np.sqrt(2), rel=1e-6)
    assert stability.hadamard_deviation(ramp, 100) == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize("span", [0, 6])
def test_a_span_must_fit(span: int) -> None:
    with pytest.raises(ValueError, match="averaging span"):
        stability.allan_deviation(np.zeros(10), span)


def test_a_span_may_leave_too_little() -> None:
    with pytest.raises(ValueError, match="too few readings"):
        stability.hadamard_deviation(np.zeros(10), 5)
