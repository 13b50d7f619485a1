import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest
from statsmodels.stats.proportion import proportion_confint

from ohmwright.fleet import binomial, interval
from ohmwright.fleet.drift import fit_trend
from ohmwright.uncertainty.conformity import Limits
from ohmwright.uncertainty.inputs import Input

COUNTS = st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n)))
CONFIDENCE = st.floats(0.5, 0.999)


@given(COUNTS, CONFIDENCE)
def test_limits_agree_with_scipy_and_statsmodels(counts: tuple[int, int], level: float) -> None:
    good, trials = counts
    exact = binomtest(good, trials).proportion_ci(level, method="exact")
    ours = binomial.clopper_pearson(good, trials, level)
    assert (ours.lower, ours.upper) == pytest.approx((exact.low, exact.high), abs=1e-8)
    wilson = proportion_confint(good, trials, 1 - level, method="wilson")
    short = binomial.wilson(good, trials, level)
    assert (short.lower, short.upper) == pytest.approx(wilson, abs=1e-9)


@given(st.floats(0.5, 0.999), CONFIDENCE)
def test_zero_failure_count_is_the_fewest(reliability: float, confidence: float) -> None:
    trials = binomial.trials_without_failure(reliability, confidence)
    assert reliability**trials <= 1 - confidence + 1e-7
    assert trials == 1 or reliability ** (trials - 1) > 1 - confidence - 1e-7


@pytest.mark.parametrize(("good", "trials"), [(3, 2), (-1, 5), (0, 0)])
def test_impossible_counts_are_refused(good: int, trials: int) -> None:
    with pytest.raises(ValueError, match="is no count"):
        binomial.wilson(good, trials)
    with pytest.raises(ValueError, match="is no count"):
        interval.a3_test(good, trials, 365, 0.95)


def test_impossible_reliability_is_refused() -> None:
    with pytest.raises(ValueError):
        binomial.trials_without_failure(1.0, 0.95)
    with pytest.raises(ValueError):
        interval.exponential_interval(365, 1.0, 0.95)
    with pytest.raises(ValueError):
        interval.a1_shortening(1.0, 0.1)


def test_a3_leaves_an_interval_that_meets_its_target() -> None:
    test = interval.a3_test(19, 20, 365, 0.95)
    assert (test.interval, test.changed) == (365, False)


def test_a3_lengthens_a_reliable_interval_within_its_limits() -> None:
    test = interval.a3_test(60, 60, 365, 0.90)
    assert test.changed
    assert test.interval == pytest.approx(3650)
    held = interval.a3_test(60, 60, 365, 0.90, change_limits=(0.5, 2.0))
    assert held.interval == pytest.approx(730)


def test_a3_shortens_no_further_than_its_limits() -> None:
    test = interval.a3_test(0, 40, 365, 0.95, change_limits=(0.5, 2.0))
    assert test.interval == pytest.approx(182.5)


@given(st.integers(5, 80), st.floats(0.7, 0.98))
def test_a3_moves_towards_the_target(tested: int, target: float) -> None:
    for good in (tested // 2, tested):
        test = interval.a3_test(good, tested, 100.0, target)
        if test.changed:
            assert (test.interval < 100.0) == (good / tested < target)


def test_a1_keeps_the_interval_still_at_its_target() -> None:
    shortening = interval.a1_shortening(0.9, 0.1)
    drift = 0.9 * math.log(1.1) + 0.1 * math.log(1 - shortening)
    assert drift == pytest.approx(0.0, abs=1e-12)


def test_forecast_combines_start_and_change() -> None:
    days, changes = (100.0, 200.0, 300.0, 400.0), (0.11, 0.18, 0.32, 0.39)
    forecast = interval.Forecast(Input("P", 100.0, 0.3, 8), fit_trend(days, changes, powers=(1,)))
    at_start = forecast.expected(0.0)
    assert (at_start.value, at_start.standard_uncertainty) == (100.0, 0.3)
    assert at_start.dof == pytest.approx(8.0)
    assert forecast.expected(1000.0).value == pytest.approx(101.0, abs=0.05)
    change = forecast.change.predict(1000.0)
    u2, later = (0.3**2, change.trend_u**2), forecast.expected(1000.0)
    assert later.standard_uncertainty**2 == pytest.approx(sum(u2))
    # Welch and Satterthwaite, GUM G.4.1
    assert later.dof == pytest.approx(sum(u2) ** 2 / (u2[0] ** 2 / 8 + u2[1] ** 2 / change.dof))
    leaves = forecast.first_time_outside(Limits(99.0, 102.0), 5000.0, 0.95)
    assert leaves is not None
    assert 1000.0 < leaves < 2000.0
    assert forecast.first_time_outside(Limits(90.0, 110.0), 1000.0, 0.95) is None
