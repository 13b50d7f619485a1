"""A decision needs both models, and no hunting that explains the readings otherwise."""

import numpy as np
import pytest

from ohmwright.estimation import activation_test
from ohmwright.estimation.activation_test import ActivationTest
from ohmwright.estimation.exponential_tail import fit_tail
from ohmwright.estimation.point import Question
from ohmwright.estimation.sequential_test import DecisionBounds
from ohmwright.estimation.thermal_droop import ResidualWarmth

from .activations import Made

QUESTION = Question(500.0, 6.0, 0.5, 1.0)


def outcome(**more: object) -> str:
    age_s, value = Made(level=502.0, droop=0.0, noise=0.001).readings(12.0)
    return ActivationTest(QUESTION, DecisionBounds(), **more).outcome(age_s, value)


def test_a_tail_that_contradicts_or_says_nothing_leaves_it_undecided(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert outcome() == "in tolerance"

    def elsewhere(age_s, value, **more):
        return fit_tail(age_s, value - 8.0, **more)

    monkeypatch.setattr(activation_test, "fit_tail", elsewhere)
    assert outcome() == "undecided"
    monkeypatch.setattr(activation_test, "fit_tail", lambda *_, **__: None)
    assert outcome() == "undecided"


def test_hunting_that_so_few_readings_cannot_deny_widens_the_estimate() -> None:
    age_s, value = Made(level=500.0, droop=0.0, hunting=0.005).readings(4.5)
    test = ActivationTest(QUESTION, DecisionBounds(), hunting=0.9)
    plain = test.estimate(age_s, value)
    careful = test.estimate(age_s, value, hunting=True)
    assert plain is not None
    assert careful is not None
    assert careful.value.sd > plain.value.sd


def test_what_warmth_leaves_unsure_is_in_the_value() -> None:
    age_s, value = Made(level=500.0, droop=0.0, noise=0.0005).readings(12.0)
    sd = []
    for warmth in (ResidualWarmth(), ResidualWarmth(0.0, 0.004)):
        test = ActivationTest(QUESTION, DecisionBounds(), residual_warmth=warmth)
        test.estimate(age_s, value)
        assert test.value is not None
        sd.append(test.value.sd)
    assert sd[1] == pytest.approx(np.hypot(sd[0], 0.004 * 500.0), rel=1e-6)
