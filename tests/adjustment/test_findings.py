"""What a confirmation teaches that does not show what was foretold of it."""

import numpy as np
import pytest

from ohmwright.adjustment.point import PointSpec
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.coefficients import Coefficient
from ohmwright.estimation.mixture import Mixture

TOLERANCE = 0.012
"""Relative to the target."""


def policy_that_foretells_the_target(sd_tolerances: float) -> AdjustPolicy:
    question = Question(500.0, 500.0 * TOLERANCE, 0.5, 1.0)
    policy = AdjustPolicy(PointSpec(question, timeout_s=60.0, rest_s=30.0))
    foretold = policy.estimator.prior.with_coefficient(
        Coefficient.LEVEL, 1.0, sd_tolerances * TOLERANCE
    )
    policy.estimator.prior = foretold
    return policy


@pytest.mark.parametrize(("seen", "hunting"), [(-4.0, 0.85), (-1.0, 0.0)])
def test_an_output_far_from_where_it_was_foretold_may_have_swung_to_there(
    seen: float, hunting: float
) -> None:
    """Foretold 0 ± 0.4 and seen with ± 0.3: 4 tolerances are 8 deviations, 1 is 2."""
    policy = policy_that_foretells_the_target(0.4)
    confirmed = Mixture(np.ones(1), np.array([seen]), np.array([0.3]), 30.0)
    policy.findings.learn(confirmed, refuted=True)
    habits = policy.estimator.habits
    assert habits.hunting == hunting
    assert habits.swing == pytest.approx(2 * TOLERANCE if hunting else 0.0)
