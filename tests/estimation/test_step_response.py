"""Slopes of the step response against central differences of the response itself."""

from __future__ import annotations

import numpy as np
import pytest

from ohmwright.estimation.coefficients import Steps, driven, driven_with_slopes

AGE_S = np.linspace(0.1, 20.0, 60)
WINDOW_S = 0.5
STEPS = Steps(
    np.array([0.0, 4.0, 7.0]),
    np.array([[1.0, 0, 0, 0], [0, 10, 0.2, 0.5], [0, -25, 0, 1.0]]),
)
STEP = 1e-5


@pytest.mark.parametrize("move_delay", [1.0, 0.35, 0.05, 2.5])
@pytest.mark.parametrize(
    "dynamics_s",
    [(0.8, 0.5, 0.15), (3.0, 0.1, 0.9), (0.2, 1.5, 0.01), (1.6, 0.3, 2.5), (0.9, 0.5, 1.1)],
)
def test_slopes_are_those_of_the_response(
    move_delay: float, dynamics_s: tuple[float, float, float]
) -> None:
    logs = np.log(dynamics_s)

    def response(each: np.ndarray) -> np.ndarray:
        return driven(AGE_S, WINDOW_S, np.exp(each)[None], STEPS, move_delay)[0]

    value, slopes = driven_with_slopes(AGE_S, WINDOW_S, np.exp(logs), STEPS, move_delay)
    assert value == pytest.approx(response(logs), abs=1e-12)
    for slope, step in zip(slopes, STEP * np.eye(3), strict=True):
        difference = (response(logs + step) - response(logs - step)) / (2 * STEP)
        # a step over the moment at which dead time ends leaves the difference off by its square
        assert slope == pytest.approx(difference, abs=2e-4)
