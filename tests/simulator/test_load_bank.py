"""The load bank: as built, warm, tripped."""

from math import exp, log, pi

import pytest

from ohmwright.model.hardware import LoadBankData
from ohmwright.simulator.load_bank import LoadBank
from ohmwright.simulator.profile import BankPhysics
from ohmwright.simulator.randomness import Randomness

DATA = LoadBankData(loads_ohm=(50, 100, 500), max_power_w=400, max_on_s=60, duty=0.25)
PHYSICS = BankPhysics(
    tolerance=0.01, inductance_uh=(0.1, 0.4), heat_drift=(0.003, 0.003), thermal_tau_s=200
)


def bank(seed: int = 1, physics: BankPhysics = PHYSICS) -> LoadBank:
    return LoadBank(DATA, physics, Randomness(seed, "bank"))


def test_steps_are_within_tolerance_and_differ() -> None:
    off = [
        step.resistance_ohm / nominal - 1
        for seed in range(20)
        for nominal, step in bank(seed).steps.items()
    ]
    assert max(map(abs, off)) <= 0.01
    assert len(set(off)) == len(off)


def test_residual_inductance() -> None:
    step = bank().steps[50]
    assert 0.1e-6 <= step.inductance_h <= 0.4e-6
    assert step.reactance_ohm(400e3) == pytest.approx(2 * pi * 400e3 * step.inductance_h)


def test_heating_by_power_and_cooling() -> None:
    one = bank()
    for _ in range(100):
        assert not one.warm(100.0, 0.3)
    assert one.heat == pytest.approx(1 - exp(-30 / 200), rel=1e-9)  # a quarter of 400 W: 1
    assert one.drift == pytest.approx(0.003 * one.heat)
    warm = one.heat
    one.cool(200.0)
    assert one.heat == pytest.approx(warm / exp(1))


def test_rated_power_for_the_rated_time_does_not_trip() -> None:
    one = bank()
    assert not any(one.warm(400.0, 0.1) for _ in range(600))


def test_rated_duty_goes_on_for_ever() -> None:
    one = bank()
    for _ in range(30):
        assert not any(one.warm(400.0, 0.5) for _ in range(60))
        one.cool(90.0)


def test_trips() -> None:
    assert bank().warm(501.0, 0.1)  # more than 1.25 times the rating, at once
    one = bank()
    seconds = next(s for s in range(1, 400) if one.warm(400.0, 1.0))
    assert seconds == pytest.approx(-200 * log(1 - 1.6 / 4), abs=1)
