"""Stray reactances and bandwidth against impedances as complex numbers, and scipy's filters."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal

from ohmwright.uncertainty.hf_effects import (
    bandwidth_loss,
    series_inductance_loss,
    shunt_capacitance_loss,
)

LOADS_OHM, CARRIERS_HZ = st.floats(5.0, 5000.0), st.floats(2e5, 5e6)


@given(LOADS_OHM, st.floats(1e-9, 3e-6), CARRIERS_HZ)
def test_an_inductance_lowers_the_current_of_a_voltage_source(
    load_ohm: float, inductance_h: float, carrier_hz: float
) -> None:
    impedance = load_ohm + 1j * math.tau * carrier_hz * inductance_h
    alone, with_it = abs(1.0 / load_ohm), abs(1.0 / impedance)
    loss = series_inductance_loss(load_ohm, inductance_h, carrier_hz)
    assert loss == pytest.approx(1.0 - with_it / alone, rel=1e-6, abs=1e-12)


@given(LOADS_OHM, st.floats(1e-13, 3e-10), CARRIERS_HZ)
def test_a_capacitance_takes_a_part_of_the_current(
    load_ohm: float, capacitance_f: float, carrier_hz: float
) -> None:
    admittance = 1.0 / load_ohm + 1j * math.tau * carrier_hz * capacitance_f
    through_load = abs(1.0 / load_ohm / admittance)
    loss = shunt_capacitance_loss(load_ohm, capacitance_f, carrier_hz)
    assert loss == pytest.approx(1.0 - through_load, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize("carrier_hz", [1e5, 4.2e5, 1e6, 1e7])
def test_a_bandwidth_is_that_of_a_first_order_low_pass(carrier_hz: float) -> None:
    low_pass = signal.butter(1, math.tau * 1e7, analog=True)
    _, response = signal.freqs(*low_pass, worN=[math.tau * carrier_hz])
    assert bandwidth_loss(carrier_hz, 1e7) == pytest.approx(1 - abs(response[0]), rel=1e-9)


def test_the_3_db_point_is_where_it_is_said_to_be() -> None:
    assert 20 * math.log10(1 - bandwidth_loss(1e7, 1e7)) == pytest.approx(-3.01, abs=0.001)


PERIODS, SAMPLES_A_PERIOD = 20, 2000
TIME = np.arange(PERIODS * SAMPLES_A_PERIOD) / SAMPLES_A_PERIOD
CARRIER = np.sin(math.tau * TIME)
TRAINS = {
    "damped, 0.05": np.exp(-0.05 * math.tau * TIME) * CARRIER,
    "damped, 0.1": np.exp(-0.1 * math.tau * TIME) * CARRIER,
    "damped, 1/3": np.exp(-math.tau * TIME / 3) * CARRIER,
    "gated, half": np.where(TIME < PERIODS / 2, CARRIER, 0.0),
    "gated, a tenth": np.where(TIME < PERIODS / 10, CARRIER, 0.0),
}


@pytest.mark.parametrize("train", TRAINS)
@pytest.mark.parametrize("over_carrier", [1.0, 2.0, 5.0, 10.0, 22.0])
def test_a_crest_factor_changes_by_less_than_the_carrier_loses(
    train: str, over_carrier: float
) -> None:
    """What `capture_limits` takes as its limit; brute force, a repeated train through a filter."""
    spectrum = np.fft.rfft(TRAINS[train])
    ratio = np.fft.rfftfreq(TIME.size, 1 / SAMPLES_A_PERIOD) / over_carrier
    passed = np.fft.irfft(spectrum / (1 + 1j * ratio), TIME.size)
    change = crest(passed) / crest(TRAINS[train]) - 1
    assert 0 < abs(change) < bandwidth_loss(1.0, over_carrier)


def crest(samples: np.ndarray) -> float:
    return float(np.abs(samples).max() / np.sqrt(np.mean(samples**2)))
