"""Warmth left over, and the rest that makes its correction sure enough."""

import numpy as np
import pytest

from ohmwright.estimation.thermal_droop import Droop, ResidualWarmth, Warmth, cooled, heated

DROOP = Droop(0.015, (6.0, 10.0), (10.0, 20.0))
AGE_S = 6.0


def test_a_rested_unit_has_nothing_left_over() -> None:
    assert Warmth(DROOP).residual(AGE_S) == ResidualWarmth(0.0, 0.0, DROOP.largest)
    assert Warmth(DROOP).rest_s(1e-6, AGE_S, 30.0) == 0.0


def test_bounds_hold_every_unit_of_the_model() -> None:
    rng = np.random.default_rng(1)
    for _ in range(200):
        tau_s, recovery_s = rng.uniform(6, 10), rng.uniform(10, 20)
        droop = rng.uniform(0, 0.015)
        warmth, true = Warmth(DROOP), 0.0
        for on_s, off_s in rng.uniform(1, 25, (4, 2)):
            warmth = warmth.heated(on_s).cooled(off_s)
            true = cooled(heated(true, on_s, tau_s), off_s, recovery_s)
        assert warmth.least - 1e-12 <= true <= warmth.most + 1e-12
        left = warmth.residual(AGE_S)
        error = droop * (true * np.exp(-AGE_S / tau_s) - left.heat * np.exp(-AGE_S / 8.0))
        assert abs(error) <= np.sqrt(3) * left.uncertainty + 1e-12


@pytest.mark.parametrize("allowed", [0.0005, 0.001, 0.002])
def test_the_rest_is_long_enough_and_no_longer(allowed: float) -> None:
    warm = Warmth(DROOP).heated(15.0)
    rest_s = warm.rest_s(allowed, AGE_S, 300.0)
    assert warm.cooled(rest_s).planned_uncertainty(AGE_S) <= allowed
    assert warm.cooled(rest_s - 0.5).planned_uncertainty(AGE_S) > allowed


def test_the_procedure_s_rest_is_the_most() -> None:
    assert Warmth(DROOP).heated(15.0).rest_s(1e-9, AGE_S, 30.0) == 30.0
