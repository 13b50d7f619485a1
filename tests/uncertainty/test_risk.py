import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_normal, norm

from ohmwright.uncertainty import risk


def bivariate(prior: float, error: float, limit: float) -> float:
    """False accepts by scipy's bivariate normal distribution of true and measured value."""
    covariance = [[prior**2, prior**2], [prior**2, prior**2 + error**2]]
    both = multivariate_normal.cdf(
        [1.0, limit], [0.0, 0.0], covariance, lower_limit=np.array([-1.0, -limit])
    )
    spread = math.hypot(prior, error)
    return norm.cdf(limit, 0.0, spread) - norm.cdf(-limit, 0.0, spread) - both


@settings(max_examples=150, deadline=None)
@given(st.floats(0.2, 2.0), st.floats(0.02, 1.5), st.floats(0.0, 1.0))
def test_agrees_with_the_bivariate_normal(prior: float, error: float, limit: float) -> None:
    share = norm.cdf(1.0, 0.0, prior) - norm.cdf(-1.0, 0.0, prior)
    got = float(risk.false_accept(share, 1.0 / error, limit, 1.0))
    assert got == pytest.approx(bivariate(prior, error, limit), abs=1e-12)


def test_points_broadcast() -> None:
    shares, ratios = np.array([0.6, 0.9, 0.99]), np.array([[1.0], [4.0]])
    risks = risk.false_accept(shares, ratios)
    assert risks.shape == (2, 3)
    assert risks[1, 2] == pytest.approx(float(risk.false_accept(0.99, 4.0)), rel=1e-14)


def test_blocks_join_without_a_seam() -> None:
    ratios = np.linspace(1.0, 10.0, risk.BLOCK_POINTS + 3)
    whole = risk.false_accept(0.9, ratios)
    parts = [float(risk.false_accept(0.9, ratio)) for ratio in ratios[-5:]]
    np.testing.assert_allclose(whole[-5:], parts, atol=1e-15)
    assert np.all(np.diff(whole) < 0.0)


@pytest.mark.parametrize("ratio", [1e-2, 1e3])
def test_extremes_stay_probabilities(ratio: float) -> None:
    assert 0.0 <= float(risk.false_accept(0.9, ratio)) <= 0.1


def test_impossible_terms_are_refused() -> None:
    with pytest.raises(ValueError, match="share in tolerance"):
        risk.population_sd(1.0)
    with pytest.raises(ValueError, match="within tolerance"):
        risk.false_accept(0.9, 4.0, 1.1)
    with pytest.raises(ValueError, match="above zero"):
        risk.false_accept(0.9, math.inf)


def test_multiplier_meets_its_target_and_is_one_where_none_is_needed() -> None:
    multiplier = risk.acceptance_multiplier(0.7, 1.5, 0.01)
    assert float(risk.false_accept(0.7, 1.5, multiplier)) == pytest.approx(0.01, abs=1e-10)
    assert risk.acceptance_multiplier(0.95, 4.0, 0.02) == 1.0
