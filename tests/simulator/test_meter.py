"""The meter: window, noise, resolution, numbers."""

import numpy as np
import pytest

from ohmwright.model.hardware import MeterData
from ohmwright.simulator.meter import Meter, meter_of
from ohmwright.simulator.profile import MeterPhysics
from ohmwright.simulator.randomness import Randomness

DATA = MeterData(max_current_ma=2500, resolution_ma=0.001, readings_per_s=10, window_s=0.3)


def meter(physics: MeterPhysics | None = None, **changes: float) -> Meter:
    data = DATA.model_copy(update=changes)
    return Meter(data, physics or MeterPhysics(), Randomness(1, "meter"))


@pytest.mark.parametrize("rate", [2.0, 3.0, 4.0, 7.0, 8.0, 10.0])
def test_ticks_divide_the_reading_interval(rate: float) -> None:
    one = meter(readings_per_s=rate)
    assert one.tick_s * one.ticks_per_reading == pytest.approx(1 / rate)
    assert 0.025 < one.tick_s <= 0.05


def test_reading_is_the_mean_over_the_window() -> None:
    one = meter()
    ticks = [[10.0, 20.0], [30.0, 40.0], [50.0, 60.0], [70.0, 80.0]]
    seen = []
    for pair in ticks:
        one.take(pair, 0.0)
        seen.append(one.value_ma)
    assert seen == pytest.approx([30 / 6, 100 / 6, 35.0, 55.0], abs=1e-3)


def test_a_filter_follows_a_step_as_a_lag_of_half_the_window_does() -> None:
    """Against the step response of a first-order lag, 1 - exp(-t / tau): any textbook."""
    data = DATA.model_copy(update={"window_s": 2.4, "averages_by": "filter"})
    one = meter_of(data, MeterPhysics(), Randomness(1, "meter"))
    for reading in range(1, 61):
        one.take([600.0, 600.0], 0.0)
        assert one.value_ma == pytest.approx(600 * (1 - np.exp(-0.1 * reading / 1.2)), abs=0.01)
    for reading in range(1, 61):
        one.take([0.0, 0.0], 0.0)
        left = 600 * (1 - np.exp(-6.0 / 1.2)) * np.exp(-0.1 * reading / 1.2)
        assert one.value_ma == pytest.approx(left, abs=0.01)
    assert one.tail_ticks * one.tick_s > 8 * 1.2
    one.clear()
    one.take([600.0, 600.0], 0.0)
    assert one.value_ma == pytest.approx(600 * (1 - np.exp(-0.1 / 1.2)), abs=0.01)


def test_gain_error_noise_and_resolution() -> None:
    physics = MeterPhysics(gain_error=(0.01, 0.01), noise_ma=2.0)
    one = meter(physics)
    values = []
    for _ in range(4000):
        one.take([500.0, 500.0], 0.0)
        values.append(one.value_ma)
    settled = np.array(values[10:])
    assert settled.mean() == pytest.approx(505.0, abs=0.15)
    assert settled.std() == pytest.approx(2.0, rel=0.06)
    coarse = meter(resolution_ma=5.0)
    coarse.take([333.0] * 6, 0.0)
    assert coarse.value_ma == 335.0


def test_numbers_count_readings_and_restart_at_a_reset() -> None:
    one = meter()
    assert one.fetch([]) == b"9.91E+37,A,00000"
    one.skip(41)
    assert one.fetch([]) == b"+0.00000E+00,A,00041"
    one.take([351.2] * 6, 0.0)
    assert one.fetch([]) == b"+3.51200E-01,A,00042"
    one.reset()
    assert one.value_ma is None


def test_above_the_range() -> None:
    one = meter()
    one.take([3000.0] * 6, 0.0)
    assert one.fetch([]) == b"9.9E+37,A,00001"


def test_pass_band() -> None:
    one = meter()
    one.pass_band(0.98)
    one.take([100.0] * 6, 0.0)
    assert one.value_ma == pytest.approx(98.0)
