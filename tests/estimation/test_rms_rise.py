"""The rise by a meter that averages squares, against numpy's quadrature of its definition.

RMS over a window T is sqrt(1/T times the integral of the square): its definition in IEC 60050-103
(103-02-03), from memory.
"""

from __future__ import annotations

import numpy as np
import pytest

from ohmwright.estimation.rms_rise import rms_rise, rms_rise_with_slopes
from ohmwright.estimation.settled_value import settled_value

AGE_S = np.linspace(0.1, 8.0, 40)
NODES, WEIGHTS = np.polynomial.legendre.leggauss(400)


def by_quadrature(window_s: float, lag_s: float, dead_time_s: float, ratio: float) -> np.ndarray:
    """The definition of RMS, of a rise by two lags in a row after a dead time."""
    at_s = AGE_S[:, None] - 0.5 * window_s * (1 + NODES)
    since_s = np.maximum(at_s - dead_time_s, 0.0)
    second_s = ratio * lag_s
    slow, fast = lag_s * np.exp(-since_s / lag_s), second_s * np.exp(-since_s / second_s)
    response = 1 - (slow - fast) / (lag_s - second_s)
    return np.sqrt(0.5 * response**2 @ WEIGHTS)


@pytest.mark.parametrize("window_s", [0.3, 2.0])
@pytest.mark.parametrize("times", [(0.8, 0.5, 0.15), (3.0, 0.1, 0.9), (0.1, 1.5, 0.01)])
def test_the_rise_is_the_root_of_the_mean_of_squares(
    window_s: float, times: tuple[float, float, float]
) -> None:
    found = rms_rise(AGE_S, window_s, np.array([times, times]))
    assert found.shape == (2, AGE_S.size)
    for each in found:
        assert each == pytest.approx(by_quadrature(window_s, *times), abs=2e-3)


@pytest.mark.parametrize("times", [(0.8, 0.5, 0.15), (3.0, 0.1, 0.9), (0.3, 1.5, 0.01)])
def test_its_slopes_are_by_the_logarithms(times: tuple[float, float, float]) -> None:
    value, *slopes = rms_rise_with_slopes(AGE_S, 0.5, np.array(times))
    assert value == pytest.approx(rms_rise(AGE_S, 0.5, np.array([times]))[0])
    risen = times[1] + 0.1 < AGE_S  # there it has no kink
    for index, slope in enumerate(slopes):
        step = 0.01 * np.eye(3)[index]
        above, below = (by_quadrature(0.5, *(np.array(times) * np.exp(s))) for s in (step, -step))
        assert slope[risen] == pytest.approx((above - below)[risen] / 0.02, abs=5e-3)


@pytest.mark.parametrize(("lag_s", "most_u"), [(0.2, 1.7), (0.5, 1.9), (1.0, 3.2)])
def test_a_meter_of_squares_costs_no_value(lag_s: float, most_u: float) -> None:
    """Two readings a second over 2 s; taken for means, u was 2.0, 2.2 and 4 in the mean."""
    age_s = np.arange(0.5, 6.01, 0.5)
    since_s = np.maximum(age_s[:, None] - 2.0 * np.linspace(0, 1, 2001) - 0.2, 0.0)
    clean = 700 * np.sqrt(np.mean((1 - np.exp(-since_s / lag_s)) ** 2, axis=1))
    uncertain = []
    for seed in range(6):
        noise = 1 + 0.001 * np.random.default_rng(seed).normal(size=age_s.size)
        seen = settled_value(age_s, np.round(clean * noise), window_s=2.0, resolution=1.0)
        assert abs(seen.value - 700) < 2.5 * seen.uncertainty
        uncertain.append(seen.uncertainty)
    assert np.mean(uncertain) < most_u
