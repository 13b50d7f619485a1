import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values

from ohmwright.uncertainty import power

POSITIVE = st.floats(1e-3, 1e4)


@given(POSITIVE, POSITIVE)
def test_current_is_the_inverse_of_power(watts: float, load: float) -> None:
    assert power.power_w(power.current_a(watts, load), load) == pytest.approx(watts)


@given(st.floats(1e-4, 0.05), st.floats(1e-4, 0.05), st.floats(-0.99, 0.99))
def test_relative_uncertainty_agrees_with_uncertainties(i: float, r: float, rho: float) -> None:
    current, load = correlated_values([1.0, 1.0], [[i * i, rho * i * r], [rho * i * r, r * r]])
    expected = (current * current * load).std_dev
    assert power.relative_power_uncertainty(i, r, rho) == pytest.approx(expected, rel=1e-6)


def test_a_matched_load_takes_the_most() -> None:
    matched = power.thevenin_power_w(100.0, 200.0, 200.0)
    assert matched == pytest.approx(100.0**2 / (4 * 200.0))
    assert power.thevenin_power_w(100.0, 200.0, 210.0) < matched


@pytest.mark.parametrize(("watts", "load"), [(-1.0, 100.0), (1.0, 0.0)])
def test_no_current_for_impossible_power(watts: float, load: float) -> None:
    with pytest.raises(ValueError):
        power.current_a(watts, load)


def test_series_inductance_is_the_squared_reactance_ratio() -> None:
    assert power.series_inductance_overstatement(math.tau, 1.0, 1.0) == pytest.approx(1.0)
