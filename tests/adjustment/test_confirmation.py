"""How long an activation that may confirm is watched without getting any surer."""

import numpy as np
import pytest

from ohmwright.adjustment.confirmation import Confirmation
from ohmwright.adjustment.parameters import Parameters
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.habits import Habits
from ohmwright.estimation.mixture import Mixture
from ohmwright.estimation.sequential_test import Estimate
from ohmwright.estimation.thermal_droop import ResidualWarmth

UNSURE = Estimate(Mixture(np.ones(1), np.zeros(1), np.full(1, 0.4), 30.0), 0.0, 0.5)
"""An estimate that is as unsure after each reading as after the last."""


@pytest.mark.parametrize(("hunting", "expected_s"), [(0.1, 4.0), (0.9, 12.0)])
def test_an_output_that_hunts_is_watched_until_some_swings_have_passed(
    hunting: float, expected_s: float
) -> None:
    """Notices one that is let go before a second swing could tell its mean."""
    confirmation = Confirmation(
        Question(500.0, 5.0, 0.5, 1.0),
        Parameters(),
        residual_warmth=ResidualWarmth(),
        habits=Habits(hunting),
    )
    in_vain = (at_s for at_s in np.arange(0.0, 20.0, 0.5) if confirmation._is_in_vain(UNSURE, at_s))
    assert next(in_vain) == expected_s
