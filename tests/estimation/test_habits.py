"""What is known of how a unit departs from a plain rise, and what that does to an estimate."""

import numpy as np
import pytest
from scipy.stats import t

from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds

from .activations import Made

QUESTION = Question(500.0, 6.0, 0.5, 1.0)


def test_a_unit_that_has_hunted_may_hunt_again_and_one_that_crept_is_judged_by_the_latest() -> None:
    known = Habits(0.1, 0.03).after(Habits(0.9, 0.8, 0.006)).after(Habits(0.01, 0.02, 0.001))
    assert known == Habits(0.9, 0.02, 0.006)


def test_nothing_is_assumed_beyond_doubt() -> None:
    assert Habits(1.0, 1.0).at_least(0.12) == Habits(0.98, 0.98)
    assert Habits(0.0, 0.0).at_least(0.12) == Habits(0.12, 0.03)


def test_only_a_unit_that_was_seen_to_hunt_may_stand_still_off_its_mean() -> None:
    assert not Habits(0.12).hunts
    assert not Habits(0.8).hunts
    assert Habits(0.9).hunts


def test_a_unit_that_hunts_is_less_likely_to_stand_still_the_longer_it_does() -> None:
    shares = [Habits(0.9).still_share(risen_s) for risen_s in (-1.0, 0.0, 4.0, 20.0)]
    assert shares == pytest.approx([0.27, 0.27, 0.27 / np.e, 0.27 * np.exp(-5)])


def test_an_output_that_stood_elsewhere_than_foretold_may_have_swung_to_there() -> None:
    seen = Habits(0.1, 0.03, 0.002).after_a_jump(-0.03)
    assert (seen.hunting, seen.other_shape, seen.swing) == (0.85, 0.03, 0.015)
    assert Habits(0.9, swing=0.02).after_a_jump(0.03) == Habits(0.9, swing=0.02)


def test_a_doubted_share_is_the_mixture_of_both_widths() -> None:
    """Reference: the two Student t distributions by scipy."""
    plain = Mixture(np.ones(1), np.array([0.2]), np.array([0.1]), 9.0)
    below = plain.doubted(0.3, 0.4).probability_below(0.5)
    wide = np.hypot(0.1, 0.4)
    assert below == pytest.approx(0.7 * t.cdf(3.0, 9) + 0.3 * t.cdf(0.3 / wide, 9), rel=1e-9)


def test_a_still_output_of_a_unit_that_hunts_is_in_tolerance_once_it_stood_still_for_long() -> None:
    made, hunts = Made(level=502.6, noise=0.001), Habits(0.9, swing=0.008)
    outcomes = [
        ActivationTest(QUESTION, DecisionBounds(), habits=habits).outcome(*made.readings(until_s))
        for until_s, habits in ((14.0, Habits(0.12, swing=0.008)), (14.0, hunts), (45.0, hunts))
    ]
    assert outcomes == ["in tolerance", "undecided", "in tolerance"]


@pytest.mark.parametrize("creep_s", [1.7, 2.4, 3.4, 4.7])
def test_a_creep_between_the_time_constants_that_are_tried_is_within_the_uncertainty(
    creep_s: float,
) -> None:
    made = Made(lag_s=0.2, noise=0.001, resolution=0.01)
    age_s, value = made.readings(13.0)
    creeping = 1 - 0.18 * np.exp(-np.maximum(age_s - 0.75, 0.0) / creep_s)
    test = ActivationTest(QUESTION, DecisionBounds(), habits=Habits(0.1, 0.9))
    estimate = test.estimate(age_s, value * creeping)
    assert estimate is not None
    error = estimate.value.mean - (made.at(6.0) - QUESTION.target) / QUESTION.tolerance
    assert abs(error) < 2 * estimate.value.sd
    assert estimate.value.sd < 0.9


def test_the_swing_is_what_the_output_does_beside_its_rise() -> None:
    """A sine of half width 0.8 % has 0.57 % rms; still, the noise of 0.1 % is left."""
    seen = []
    for hunting in (0.008, 0.0):
        test = ActivationTest(QUESTION, DecisionBounds(), habits=Habits(0.5))
        test.estimate(*Made(noise=0.001, hunting=hunting, period_s=6.0).readings(25.0))
        assert test.seen_habits is not None
        seen.append(test.seen_habits.swing)
    assert seen[0] == pytest.approx(0.008 / np.sqrt(2), rel=0.25)
    assert seen[1] == pytest.approx(0.001, rel=0.5)


def test_moves_of_the_trim_are_no_swing() -> None:
    assert Habits(0.9, 0.1, 0.008).without_swing == Habits(0.9, 0.1)
