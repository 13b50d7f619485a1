import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import multivariate_normal, norm

from ohmwright.uncertainty import risk


def bivariate(
    low: float, high: float, low_ok: float, high_ok: float, mean: float, prior: float, error: float
) -> float:
    """False accepts by scipy's bivariate normal distribution of true and measured value."""
    covariance = [[prior**2, prior**2], [prior**2, prior**2 + error**2]]
    centre = [mean, mean]
    both = multivariate_normal.cdf(
        [high, high_ok], centre, covariance, lower_limit=np.array([low, low_ok])
    )
    spread = math.hypot(prior, error)
    return norm.cdf(high_ok, mean, spread) - norm.cdf(low_ok, mean, spread) - both


@settings(max_examples=150, deadline=None)
@given(
    st.floats(-1.0, 1.0),
    st.floats(0.2, 2.0),
    st.floats(0.02, 1.5),
    st.floats(0.5, 1.5),
    st.floats(0.4, 1.6),
    st.floats(0.4, 1.6),
)
def test_agrees_with_the_bivariate_normal(
    mean: float, prior: float, error: float, high: float, low_ok: float, high_ok: float
) -> None:
    point = (-1.0, high, -low_ok, high_ok, mean, prior, error)
    assert float(risk.global_risks(*point).false_accept) == pytest.approx(
        bivariate(*point), abs=1e-12
    )


def test_a_stretch_as_long_as_the_short_rule_takes() -> None:
    point = (-1.0, 0.5, -1.0, 1.5, 0.5, 0.5, 0.46875)
    got = float(risk.global_risks(*point).false_accept)
    assert got == pytest.approx(bivariate(*point), abs=1e-12)


def test_one_sided_tolerance_agrees_with_quadrature() -> None:
    risks = risk.global_risks(-np.inf, 1.0, -np.inf, 0.9, 0.2, 0.5, 0.1)
    expected, _ = quad(
        lambda t: norm.pdf(t, 0.2, 0.5) * norm.cdf((0.9 - t) / 0.1), 1.0, 5.0, epsabs=1e-14
    )
    assert float(risks.false_accept) == pytest.approx(expected, abs=1e-13)
    assert float(risks.conform) == pytest.approx(norm.cdf(1.0, 0.2, 0.5))


def test_shares_add_up() -> None:
    risks = risk.centred_risks(np.array([0.6, 0.9, 0.99]), np.array([[1.0], [4.0]]))
    assert risks.false_accept.shape == (2, 3)
    good_accepted = risks.accept - risks.false_accept
    np.testing.assert_allclose(good_accepted + risks.false_reject, risks.conform, atol=1e-14)
    np.testing.assert_allclose(risks.conform, [[0.6, 0.9, 0.99]] * 2)
    assert np.all(risks.conditional_false_accept > risks.false_accept)


def test_blocks_join_without_a_seam() -> None:
    ratios = np.linspace(1.0, 10.0, risk.BLOCK_POINTS + 3)
    whole = risk.centred_risks(0.9, ratios).false_accept
    parts = [float(risk.centred_risks(0.9, ratio).false_accept) for ratio in ratios[-5:]]
    np.testing.assert_allclose(whole[-5:], parts, atol=1e-15)
    assert np.all(np.diff(whole) < 0.0)


@pytest.mark.parametrize("error", [1e-3, 50.0])
def test_extremes_stay_probabilities(error: float) -> None:
    risks = risk.global_risks(-1.0, 1.0, -1.0, 1.0, 0.0, 0.5, error)
    assert 0.0 <= float(risks.false_accept) <= 1.0 - float(risks.conform)


def test_impossible_spreads_are_refused() -> None:
    with pytest.raises(ValueError, match="above zero"):
        risk.global_risks(-1.0, 1.0, -1.0, 1.0, 0.0, 0.0, 0.1)
    with pytest.raises(ValueError, match="share in tolerance"):
        risk.population_sd(1.0, 1.0)


def test_multiplier_meets_its_target_and_is_one_where_none_is_needed() -> None:
    multiplier = risk.acceptance_multiplier(0.7, 1.5, 0.01)
    risks = risk.centred_risks(0.7, 1.5, multiplier)
    assert float(risks.false_accept) == pytest.approx(0.01, abs=1e-10)
    assert risk.acceptance_multiplier(0.95, 4.0) == 1.0


def test_multipliers_below_one_to_one_accept_nothing() -> None:
    assert risk.root_difference_multiplier(0.5) == 0.0
    assert risk.linear_multiplier(0.5) == 0.0
