import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ohmwright.uncertainty import inputs


@given(st.floats(-37, 8))
def test_normal_cdf_agrees_with_scipy(z: float) -> None:
    assert inputs.normal_cdf(z) == pytest.approx(stats.norm.cdf(z), rel=1e-11)


@given(st.floats(1e-12, 1 - 1e-12))
def test_normal_quantile_agrees_with_scipy(probability: float) -> None:
    expected = stats.norm.ppf(probability)
    assert inputs.normal_quantile(probability) == pytest.approx(expected, rel=1e-9, abs=1e-9)


@given(st.floats(0.5, 500), st.floats(0.05, 0.9999))
def test_coverage_factor_agrees_with_scipy(dof: float, coverage: float) -> None:
    expected = stats.t.ppf(0.5 + coverage / 2, dof)
    assert inputs.coverage_factor(dof, coverage) == pytest.approx(expected, rel=1e-8)


@given(st.floats(-8, 8), st.floats(1, 500))
def test_t_cdf_agrees_with_scipy(t: float, dof: float) -> None:
    assert inputs.t_cdf(t, dof) == pytest.approx(stats.t.cdf(t, dof), rel=1e-9)


def test_infinite_dof_is_normal() -> None:
    assert inputs.t_cdf(1.0, math.inf) == inputs.normal_cdf(1.0)


@pytest.mark.parametrize(("dof", "coverage"), [(0.0, 0.95), (math.nan, 0.95), (5.0, 1.0)])
def test_no_factor_for_nonsense(dof: float, coverage: float) -> None:
    with pytest.raises(ValueError, match="coverage factor"):
        inputs.coverage_factor(dof, coverage)
