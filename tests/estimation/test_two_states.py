"""An output that teeters between two levels, made here by itself: no equation of the estimators."""

import numpy as np
import pytest
from numpy.typing import NDArray

from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds
from ohmwright.estimation.settled_value import Settled, settled_value

LEVEL, WINDOW_S = 500.0, 0.5


def readings(
    states: NDArray[np.float64], *, seed: int, last_s: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Ages and readings of an output that rises with one lag, times `states` at steps of 10 ms."""
    time_s = np.arange(0.0, last_s, 0.01)
    output = LEVEL * (1 - np.exp(-np.maximum(time_s - 0.3, 0) / 0.5)) * states[: time_s.size]
    width = round(WINDOW_S / 0.01)
    mean = np.convolve(output, np.ones(width) / width)[: time_s.size]
    at = np.arange(20, time_s.size, 20)
    noise = np.random.default_rng(seed).normal(0, 0.4, at.size)
    return time_s[at], np.round(mean[at] + noise)


def square(half: float, period_s: float, phase: float) -> NDArray[np.float64]:
    time_s = np.arange(0.0, 40.0, 0.01)
    return 1 + half * np.where((time_s / period_s + phase) % 1 < 0.5, 1.0, -1.0)


def settled(states: NDArray[np.float64], seed: int, last_s: float = 14.0) -> Settled:
    age_s, value = readings(states, seed=seed, last_s=last_s)
    return settled_value(age_s, value, window_s=WINDOW_S, resolution=1.0)


def covers(found: Settled, true: float) -> bool:
    return abs(found.value - true) < 2 * found.uncertainty


@pytest.mark.parametrize("half", [0.01, 0.03])
def test_the_value_of_an_output_that_teeters_is_its_mean(half: float):
    found = [settled(square(half, 9.0, seed / 20), seed, 11.0) for seed in range(20)]
    assert sum(covers(each, LEVEL) for each in found) >= 18
    # not the level at which it happened to be last: that is off by half the swing
    assert np.median([abs(each.value - LEVEL) for each in found]) < 0.3 * half * LEVEL


def test_one_jump_may_be_for_good():
    """A step of the line voltage looks the same: neither level is left out."""
    states = np.where(np.arange(0.0, 40.0, 0.01) < 7.0, 1.0, 1.02)
    for seed in range(5):
        found = settled(states, seed)
        assert covers(found, 1.02 * LEVEL)
        assert covers(found, 1.01 * LEVEL)


def test_a_steady_output_is_as_sure_as_before():
    found = [settled(np.ones(4000), seed) for seed in range(10)]
    assert max(each.uncertainty for each in found) < 0.002 * LEVEL
    assert all(covers(each, LEVEL) for each in found)


def test_a_sine_is_no_two_states():
    states = 1 + 0.01 * np.sin(np.arange(0.0, 40.0, 0.01) * 2 * np.pi / 7.0)
    found = [settled(states, seed) for seed in range(10)]
    assert all(covers(each, LEVEL) for each in found)


def outcomes(states: NDArray[np.float64], last_s: float) -> list[str]:
    """What a confirmation decides of six activations, watched until `last_s`."""
    question = Question(LEVEL, 5.0, WINDOW_S, 1.0)
    bounds = DecisionBounds(inside=0.996, outside=0.95)
    return [
        ActivationTest(question, bounds).outcome(*readings(states, seed=seed, last_s=last_s))
        for seed in range(6)
    ]


@pytest.mark.parametrize("at_s", [2.0, 2.4, 2.8, 3.2])
def test_an_output_that_jumped_as_it_had_risen_may_go_back(at_s: float):
    """At first it is out of tolerance by its mean, and not in tolerance by where it stands.

    Notices a jump that is taken for the end of the rise.
    """
    states = np.where(np.arange(0.0, 40.0, 0.01) < at_s, 1.04, 1.0)
    assert "in tolerance" not in outcomes(states, 5.0)
    assert "in tolerance" not in outcomes(states, 6.5)
    assert "in tolerance" in outcomes(states, 16.0), "it has stood for long enough"


def test_an_output_that_rose_and_stands_is_decided_as_soon_as_before():
    assert outcomes(np.ones(4000), 6.5) == ["in tolerance"] * 6


def test_the_end_of_a_slow_rise_is_no_jump():
    """A tenth of the output comes later, with a time constant of 1.5 s."""
    time_s = np.arange(0.0, 40.0, 0.01)
    creep = 1 - 0.1 * np.exp(-np.maximum(time_s - 0.3, 0) / 1.5)
    assert outcomes(creep, 16.0).count("in tolerance") >= 5
