import numpy as np
import pytest

from ohmwright.estimation.power_curve_diagnosis import (
    SENSES,
    OutputLimits,
    PowerCurve,
    diagnose,
    nominal_limits,
)

LIMITS = OutputLimits(power_w=300.0, current_a=1.4, voltage_v=560.0, sharpness=6.0)
LOADS = np.array([50, 100, 200, 300, 500, 800, 1000, 1500, 2000, 3000.0])


def curve(gains, seed=0, noise=0.005):
    power = LIMITS.power(LOADS, np.array(gains))
    seen = power * (1 + noise * np.random.default_rng(seed).normal(size=LOADS.size))
    return PowerCurve(LOADS, seen, noise * seen)


def test_law_has_its_three_regions():
    power = LIMITS.power(np.array([10.0, 500.0, 20000.0]))
    np.testing.assert_allclose(power, [1.4**2 * 10, 300, 560**2 / 20000], rtol=0.02)


@pytest.mark.parametrize("which", [0, 1, 2])
@pytest.mark.parametrize("off", [-0.05, 0.04])
def test_the_drifted_sense_is_named(which, off):
    gains = [1.0, 1.0, 1.0]
    gains[which] += off
    for seed in range(20):
        found = diagnose(curve(gains, seed), LIMITS)
        assert found.culprit == SENSES[which]
        assert found.gain[SENSES[which]] == pytest.approx(1 + off, abs=0.015)
        assert found.misfit < 4


def test_nothing_is_blamed_when_nothing_drifted():
    assert diagnose(curve([1.0, 1.0, 1.0]), LIMITS).culprit is None


def test_a_curve_of_another_law_is_noticed():
    odd = curve([1.0, 1.0, 1.0])
    bent = PowerCurve(LOADS, odd.measured_w * np.linspace(0.8, 1.3, LOADS.size), odd.uncertainty_w)
    assert diagnose(bent, LIMITS).misfit > 10


@pytest.mark.parametrize("sharpness", [4.0, 8.0])
def test_the_maker_s_targets_tell_the_limits(sharpness):
    true = OutputLimits(power_w=300.0, current_a=0.9, voltage_v=560.0, sharpness=sharpness)
    loads = np.array([100, 200, 500, 1000, 2000.0])
    read = nominal_limits(loads, np.round(true.power(loads), 1), 300.0)
    assert read.current_a == pytest.approx(0.9, rel=0.002)
    assert read.voltage_v == pytest.approx(560, rel=0.002)
    assert read.sharpness == pytest.approx(sharpness, rel=0.03)
