"""The law against its three limits, and what each sense gain does in its region."""

from math import sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.simulator.output_stage import TRUE, Gains, OutputLimits, current_ma, power_w

SHARP = OutputLimits(power_w=300.0, current_a=0.9, voltage_v=560.0, corner=30.0)
SOFT = SHARP._replace(corner=6.0)


@pytest.mark.parametrize(
    ("load_ohm", "expected_ma"),
    [(20, 900.0), (100, 900.0), (600, 1000 * sqrt(300 / 600)), (5000, 1000 * 560 / 5000)],
)
def test_regions(load_ohm: float, expected_ma: float) -> None:
    assert current_ma(SHARP, load_ohm) == pytest.approx(expected_ma, rel=1e-3)


def test_formula() -> None:
    load_ohm, k = 370.0, 6.0
    terms = (300.0, 0.9**2 * load_ohm, 560.0**2 / load_ohm)
    expected = sum(term**-k for term in terms) ** (-1 / k)
    assert power_w(SOFT, load_ohm) == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("g", [0.92, 1.08])
def test_gains_act_in_their_regions(g: float) -> None:
    low, mid, high = 20.0, 600.0, 5000.0
    assert current_ma(SHARP, low, Gains(current=g)) == pytest.approx(900 / g, rel=1e-3)
    assert current_ma(SHARP, high, Gains(voltage=g)) == pytest.approx(112 / g, rel=1e-3)
    for gains in (Gains(current=g), Gains(voltage=g), Gains(phase=g)):
        assert power_w(SHARP, mid, gains) == pytest.approx(300 / g, rel=2e-3)
    assert current_ma(SHARP, low, Gains(voltage=g, phase=g)) == pytest.approx(900, rel=1e-3)
    assert current_ma(SHARP, high, Gains(current=g, phase=g)) == pytest.approx(112, rel=1e-3)


def test_no_setting_no_output() -> None:
    assert power_w(SHARP._replace(power_w=0.0), 500) == 0.0


def test_reactance_costs_power_only_at_the_voltage_limit() -> None:
    assert power_w(SHARP, 20, TRUE, 20.0) == pytest.approx(power_w(SHARP, 20), rel=1e-3)
    assert power_w(SHARP, 5000, TRUE, 5000.0) == pytest.approx(power_w(SHARP, 5000) / 2, rel=1e-3)


@given(st.floats(1, 1e5), st.floats(2, 40), st.floats(1e-6, 400))
def test_never_above_any_limit(load_ohm: float, corner: float, setting_w: float) -> None:
    limits = OutputLimits(setting_w, 0.9, 560.0, corner)
    power = power_w(limits, load_ohm)
    least = min(setting_w, 0.81 * load_ohm, 560.0**2 / load_ohm)
    assert least * 3 ** (-1 / corner) * (1 - 1e-9) <= power <= least * (1 + 1e-9)
