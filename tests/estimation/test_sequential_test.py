"""Decisions on one activation: probabilities, departures, warmth."""

import numpy as np
import pytest
from scipy.signal import TransferFunction, step
from scipy.stats import norm

from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds, Estimate
from ohmwright.estimation.thermal_droop import ResidualWarmth

from .activations import Made


def at(centre, scale=0.1, remainder=0.0):
    return Estimate(Mixture(np.ones(1), np.array([centre]), np.array([scale]), 1e6), remainder, 0.8)


@pytest.mark.parametrize(
    ("centre", "answer"),
    [(0.0, "in tolerance"), (0.95, "undecided"), (-1.8, "too low"), (1.8, "too high")],
)
def test_answers(centre, answer):
    assert at(centre).outcome(DecisionBounds()) == answer


def test_no_answer_while_the_lag_is_extrapolated():
    assert at(0.0, remainder=0.7).outcome(DecisionBounds()) == "undecided"
    assert at(0.0, remainder=0.7).wait_s(DecisionBounds()) > 0


def test_probabilities_are_the_mixtures():
    mixture = Mixture(np.array([0.3, 0.7]), np.array([-1.0, 1.0]), np.array([0.5, 2.0]), 1e7)
    expected = 0.3 * norm.cdf(2.0) + 0.7 * norm.cdf(-0.5)
    assert mixture.probability_below(0.0) == pytest.approx(expected, rel=1e-5)
    assert mixture.mean == pytest.approx(0.4)


QUESTION = Question(500.0, 6.0, 0.5, 1.0)


def test_departures_that_so_few_readings_cannot_deny_widen_the_estimate() -> None:
    age_s, value = Made(level=500.0, droop=0.0, hunting=0.005).readings(4.5)
    test = ActivationTest(QUESTION, DecisionBounds(), habits=Habits(0.9))
    plain = test.quick_estimate(age_s, value)
    assert test.value is None  # a quick estimate is never stated
    careful = test.estimate(age_s, value)
    assert plain is not None
    assert careful is not None
    assert careful.value.sd > plain.value.sd


def test_the_value_is_the_estimate_in_the_unit_of_the_readings() -> None:
    test = ActivationTest(QUESTION, DecisionBounds())
    seen = test.estimate(*Made(level=503.0, droop=0.0).readings(12.0))
    assert seen is not None
    assert test.value is not None
    assert test.value.mean == pytest.approx(500.0 + 6.0 * seen.value.mean)
    assert test.value.sd == pytest.approx(6.0 * seen.value.sd)


def test_what_warmth_leaves_unsure_is_in_the_value() -> None:
    age_s, value = Made(level=500.0, droop=0.0, noise=0.0005).readings(12.0)
    sd = []
    for warmth in (ResidualWarmth(), ResidualWarmth(0.0, 0.004)):
        test = ActivationTest(QUESTION, DecisionBounds(), residual_warmth=warmth)
        test.estimate(age_s, value)
        assert test.value is not None
        sd.append(test.value.sd)
    assert sd[1] == pytest.approx(np.hypot(sd[0], 0.004 * 500.0), rel=1e-6)


@pytest.mark.parametrize("droop_tau_s", [6.0, 10.0])
def test_a_droop_of_another_time_constant_is_within_the_uncertainty(droop_tau_s: float) -> None:
    # so quiet and so many readings that they alone would leave next to nothing
    made = Made(
        lag_s=0.2, droop=0.015, droop_tau_s=droop_tau_s, noise=1e-5, rate_hz=50.0, resolution=0.001
    )
    test = ActivationTest(Question(500.0, 10.0, 0.5, 0.001), DecisionBounds())
    test.estimate(*made.readings(20.0))
    assert test.value is not None
    assert abs(test.value.mean - made.at(6.0)) < 2 * test.value.sd


@pytest.mark.parametrize(
    ("rate", "damping", "until_s"),
    [(1.72, 0.36, 9.5), (1.2, 0.5, 10.5), (2.5, 0.3, 12.5), (1.4, 0.65, 9.0)],
)
def test_a_rise_that_swings_is_decided_as_soon_as_its_swings_are_small(
    rate: float, damping: float, until_s: float
) -> None:
    """A regulator of second order, by scipy: overshoot 7 to 37 %, its output 0.4 tolerances low."""
    fine_s = np.arange(0.0, 25.0, 0.01)
    system = TransferFunction([rate**2], [1.0, 2 * damping * rate, rate**2])
    level = 500.0 - 0.4 * 6.0
    output = level * step(system, T=fine_s)[1]
    age_s = np.arange(0.7, 20.0, 0.2)
    shown = [np.mean(output[(fine_s > at_s - 0.8) & (fine_s <= at_s - 0.3)]) for at_s in age_s]
    value = np.round(np.array(shown) + np.random.default_rng(4).normal(0.0, 0.7, age_s.size))
    test = ActivationTest(QUESTION, DecisionBounds())
    for count in range(10, age_s.size):
        if test.outcome(age_s[:count], value[:count]) != "undecided":
            break
    assert test.outcome(age_s[:count], value[:count]) == "in tolerance"
    assert age_s[count] < until_s
    assert test.value is not None
    assert test.value.mean == pytest.approx(level, abs=0.1 * 6.0)


@pytest.mark.parametrize("dead_s", [4.3, 6.0])
def test_an_output_that_comes_seconds_late_is_decided_as_soon_after_that_as_any(
    dead_s: float,
) -> None:
    """As where a person dials the setting with RF on."""
    made = Made(dead_s=dead_s)
    age_s, value = made.readings(20.0)
    test = ActivationTest(Question(500.0, 25.0, 0.5, 1.0), DecisionBounds())
    for count in range(5, age_s.size):
        if test.outcome(age_s[:count], value[:count]) != "undecided":
            break
    assert test.outcome(age_s[:count], value[:count]) == "in tolerance"
    assert age_s[count] < dead_s + 8.5
    assert test.value is not None
    assert abs(test.value.mean - made.at(6.0)) < 2 * test.value.sd < 8.0
