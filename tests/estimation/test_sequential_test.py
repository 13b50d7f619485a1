import numpy as np
import pytest
from scipy.stats import norm

from ohmwright.estimation.activation_test import VerificationTest
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.point import Question
from ohmwright.estimation.sequential_test import DecisionBounds, Estimate

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


def test_verification_points_far_off_are_never_called_wrong():
    wrong = undecided = 0
    for seed in range(40):
        made = Made(level=500 + (seed % 5 - 2) * 9.0, droop=0.0, noise=0.0015)
        watch = VerificationTest(Question(500.0, 6.0, made.window_s, 1.0))
        answer = "undecided"
        for age_s, value in zip(*made.readings(20.0, seed), strict=True):
            answer = watch.read(age_s, value)
            if answer != "undecided":
                break
        truth = {0: "in tolerance"}.get(seed % 5 - 2, "too low" if seed % 5 < 2 else "too high")
        undecided += answer == "undecided"
        wrong += answer not in (truth, "undecided")
    assert wrong == 0
    assert undecided <= 4
