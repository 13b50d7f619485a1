"""An output that is reduced once the unit is warm: its value at an age is by readings about it."""

import numpy as np
import pytest

from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.sequential_test import ActivationTest, DecisionBounds

from .activations import Floats, Made

AGE_S, TOLERANCE_MA, KNEE_S = 6.0, 6.7, 8.0
QUESTION = Question(670.0, TOLERANCE_MA, 0.5, 1.0)


def reduced(seed: int, until_s: float = 24.0) -> tuple[Floats, Floats]:
    """Flat, then sinking by 0.15 % in a second from `KNEE_S` on; no equation of the model's."""
    made = Made(level=679.0, lag_s=0.5, droop=0.0, noise=0.0007, correlation=0.3, resolution=0.1)
    age_s, value = made.readings(until_s, seed)
    return age_s, value * (1 - 0.0015 * np.maximum(age_s - KNEE_S, 0.0))


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("until_s", [16.0, 24.0])
def test_what_comes_long_after_the_age_does_not_move_its_value(seed: int, until_s: float) -> None:
    test = ActivationTest(QUESTION, DecisionBounds())
    seen = test.estimate(*reduced(seed, until_s))
    assert seen is not None
    assert test.value is not None
    assert abs(test.value.mean - 679.0) < 2 * test.value.sd
    assert abs(test.value.mean - 679.0) < 0.4 * TOLERANCE_MA
    assert seen.outcome(DecisionBounds()) != "in tolerance"


@pytest.mark.parametrize("hunting", [0.0, 0.02])
def test_a_usual_output_is_known_better_by_later_readings(hunting: float) -> None:
    """A droop has no knee, and an output that hunts comes back: nothing is left out."""
    made = Made(level=670.0, droop=0.01, hunting=hunting, period_s=11.0)
    sd = []
    for until_s in (9.5, 30.0):
        test = ActivationTest(QUESTION, DecisionBounds())
        test.estimate(*made.readings(until_s))
        assert test.value is not None
        sd.append(test.value.sd)
    assert sd[1] < 0.8 * sd[0]
