"""A sense gain over the months."""

from math import log

import numpy as np
import pytest

from ohmwright.simulator.ageing import gain
from ohmwright.simulator.profile import Ageing
from ohmwright.simulator.randomness import Randomness

PHYSICS = Ageing(start=(-0.002, 0.002), creep_per_month=(-0.003, 0.003), wander_per_month=0.002)


def log_gain(seed: int, months: float, physics: Ageing = PHYSICS, mode: str = "cut") -> float:
    return log(gain(Randomness(seed, "generator"), "current", mode, physics, months))


def test_a_model_that_does_not_age_is_true() -> None:
    assert log_gain(1, 100.0, Ageing()) == 0.0


def test_new_is_where_the_factory_left_it() -> None:
    assert all(abs(log_gain(seed, 0.0)) <= 0.002 for seed in range(50))


def test_creep_is_straight_and_shared_by_modes() -> None:
    physics = PHYSICS.model_copy(update={"wander_per_month": 0.0})
    steps = [
        log_gain(7, months + 1, physics, mode) - log_gain(7, months, physics, mode)
        for months in (0.0, 10.5, 40.0)
        for mode in ("cut", "coag")
    ]
    assert steps == pytest.approx([steps[0]] * 6)
    assert 0 < abs(steps[0]) <= 0.003


def test_one_history_a_seed() -> None:
    ages = np.linspace(0, 36, 400)
    history = [log_gain(3, age) for age in ages]
    assert max(abs(np.diff(history))) < 0.002  # no jump between one age and the next
    assert history != [log_gain(4, age) for age in ages]


def test_wander_spreads_with_the_root_of_time() -> None:
    physics = Ageing(wander_per_month=0.002)
    at_25 = np.array([log_gain(seed, 25.0, physics) for seed in range(600)])
    assert np.std(at_25) == pytest.approx(0.01, rel=0.1)
