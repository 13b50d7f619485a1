"""An output that is reduced once the unit is warm: its value at an age is by readings about it."""

import numpy as np
import pytest

from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.late_bend import bends
from ohmwright.estimation.mixture import Mixture
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


RAMP_MA = """
0 0 13.3 41.8 74.9 109.6 144.6 180 215 250.1 285.5 315.1 324.2 325.8 327.3 326.6 326.6 327.2
325.8 325.9 327.4 325.8 326.5 325.2 324.9 324.6 324.6 324.5 324.4 323.7 322.9 324.3 323.4 322.5
322.7 321.9 322.1 321.5 321.2 321.3 321.4 320.8 320.8 320.9 321.3 320.4 320.5 320.9 319.3 319.7
319.8 319.8 319.5 319.3 318.6 319 318.6 318 318.6 318.5 317.4 317.6 317.7 317.5 316.5 316.4
317.3 317 316.7 316.2 316 315.7 316.1 315.3 315
"""
"""Readings from the age of 0.1 s on, every 0.2 s, of an emulated unit that starts by a ramp and
reduces its output once it is warm: from 327 mA at 3 s by 4 % within 12 s."""


def test_a_start_by_a_ramp_hides_no_bend() -> None:
    """It had passed as 318.7 ± 2 mA, where no reading from 5 to 8 s was within the limits."""
    value = np.array(RAMP_MA.split(), dtype=np.float64)
    age_s = 0.1 + 0.2 * np.arange(value.size)
    test = ActivationTest(Question(310.0, 12.4, 0.05, 0.1), DecisionBounds())
    seen = test.estimate(age_s, value)
    assert seen is not None
    assert seen.outcome(DecisionBounds()) == "undecided"
    assert test.value is not None
    assert test.value.mean == pytest.approx(322.9, abs=2.0)


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


ABOUT_S, LATER_S = np.arange(4.6, 7.6, 0.2), np.arange(7.6, 16.0, 0.2)


def bent(found_ma: float, *later_ma: float) -> bool:
    """Whether readings about 7.5 s of 670 mA, then of these, contradict a value `found_ma`."""
    about = 670.0 + 0.4 * (-1.0) ** np.arange(ABOUT_S.size)
    value = np.concatenate([about, np.repeat(later_ma, LATER_S.size // 3)])
    age_s = np.concatenate([ABOUT_S, LATER_S])
    found = Mixture(np.ones(1), np.array([found_ma]), np.ones(1), 1e6)
    return bends(age_s, value, 7.55, found, 0.0)


@pytest.mark.parametrize(
    ("found_ma", "later_ma", "contradicted"),
    [
        (668.0, (668.0, 666.0, 664.0), True),
        (669.0, (668.0, 666.0, 664.0), False),  # by one standard deviation they may differ
        (668.0, (666.0, 662.0, 664.0), False),  # it comes back, as it hunts
    ],
)
def test_readings_that_sink_on_contradict_a_value_that_is_not_theirs(
    found_ma: float, later_ma: tuple[float, ...], *, contradicted: bool
) -> None:
    assert bent(found_ma, *later_ma) is contradicted
