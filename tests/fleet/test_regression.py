import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ohmwright.fleet.drift import first_failure, fit_trend
from ohmwright.fleet.regression import least_squares, one_way_anova, one_way_anova_from_summaries
from ohmwright.uncertainty.conformity import Limits

SEEDS = st.integers(0, 10_000)


@given(SEEDS, st.integers(4, 30))
def test_least_squares_agrees_with_statsmodels(seed: int, count: int) -> None:
    rng = np.random.default_rng(seed)
    design = sm.add_constant(rng.normal(100.0, 5.0, size=(count, 2)))
    response = design @ [3.0, -2.0, 0.5] + rng.normal(size=count)
    ours, theirs = least_squares(design, response), sm.OLS(response, design).fit()
    np.testing.assert_allclose(ours.coefficients, theirs.params, rtol=1e-6)
    np.testing.assert_allclose(ours.standard_uncertainties, theirs.bse, rtol=1e-6)
    assert ours.r_squared == pytest.approx(theirs.rsquared, abs=1e-8)
    assert ours.f_statistic == pytest.approx(theirs.fvalue, rel=1e-5)


@given(SEEDS)
def test_prediction_agrees_with_statsmodels(seed: int) -> None:
    rng = np.random.default_rng(seed)
    days = np.sort(rng.uniform(0.0, 900.0, 9))
    values = 0.01 * days + rng.normal(size=9)
    prediction = fit_trend(days, values).predict(1000.0)
    model = sm.OLS(values, sm.add_constant(days)).fit()
    frame = model.get_prediction([[1.0, 1000.0]]).summary_frame(alpha=0.1)
    assert prediction.value == pytest.approx(frame["mean"].iloc[0])
    assert prediction.interval(0.9).upper == pytest.approx(frame["obs_ci_upper"].iloc[0])
    assert prediction.trend_interval(0.9).lower == pytest.approx(frame["mean_ci_lower"].iloc[0])


def test_too_few_or_repeated_points_are_refused() -> None:
    with pytest.raises(ValueError, match="more than 2 points"):
        fit_trend([0.0, 1.0], [1.0, 2.0])
    with pytest.raises(ValueError, match="do not determine"):
        fit_trend([5.0, 5.0, 5.0], [1.0, 2.0, 3.0])


@given(SEEDS)
def test_one_way_agrees_with_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    groups = [rng.normal(1e6, 1.0, size) for size in (3, 5, 4)]
    assert one_way_anova(groups).f_statistic == pytest.approx(stats.f_oneway(*groups)[0], rel=1e-6)


def test_summaries_say_what_the_readings_say() -> None:
    groups = np.random.default_rng(1).normal(10.0, 1.0, (6, 4)) + np.arange(6)[:, None]
    whole = one_way_anova(list(groups))
    short = one_way_anova_from_summaries(groups.mean(axis=1), groups.std(axis=1, ddof=1), 4)
    assert short.f_statistic == pytest.approx(whole.f_statistic)
    assert (short.between_dof, short.within_dof) == (5, 18)
    assert whole.between_sd(4) == pytest.approx(np.sqrt(3.5), rel=0.3)


def test_analysis_needs_groups_and_repeats() -> None:
    with pytest.raises(ValueError, match="two groups"):
        one_way_anova([[1.0, 2.0]])
    with pytest.raises(ValueError, match="two groups"):
        one_way_anova([[1.0], [2.0]])


def test_leaving_the_limits_is_when_the_prediction_interval_does() -> None:
    days = np.array([0.0, 100.0, 200.0, 300.0, 400.0])
    trend = fit_trend(days, [0.0, 1.1, 1.9, 3.05, 3.95])
    limits = Limits(-10.0, 10.0)
    leaves = trend.first_time_outside(limits, start=400.0, horizon=5000.0)
    assert leaves is not None
    assert trend.predict(leaves).interval().upper == pytest.approx(10.0, abs=1e-4)
    assert trend.slope == pytest.approx(0.00985)
    assert trend.first_time_outside(limits, start=400.0, horizon=500.0) is None
    assert trend.first_time_outside(Limits(upper=1.0), start=400.0, horizon=500.0) == 400.0


def test_first_failure_is_found_between_the_steps() -> None:
    assert first_failure(lambda t: t < 12.345, 0.0, 100.0) == pytest.approx(12.345)
