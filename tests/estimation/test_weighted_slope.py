"""The slope of a straight line, against numpy's weighted fit and its covariance."""

import numpy as np
import pytest

from ohmwright.estimation.weighted_slope import weighted_slope


@pytest.mark.parametrize("n", [2, 3, 9])
def test_it_is_the_weighted_straight_line_of_a_reference_library(n: int) -> None:
    """Reference: numpy.polyfit with weights 1/u and an unscaled covariance."""
    random = np.random.default_rng(n)
    x, y, u = random.uniform(0, 9, n), random.normal(5, 1, n), random.uniform(0.1, 0.4, n)
    found = weighted_slope(x.tolist(), y.tolist(), u.tolist())
    (slope, _), cov = np.polyfit(x, y, 1, w=1 / u, cov="unscaled")
    assert found.value == pytest.approx(slope)
    assert found.uncertainty == pytest.approx(np.sqrt(cov[0, 0]))


def test_two_equal_places_have_no_trend() -> None:
    with pytest.raises(ValueError, match="two different places"):
        weighted_slope([1.0, 1.0], [2.0, 3.0], [0.1, 0.1])
