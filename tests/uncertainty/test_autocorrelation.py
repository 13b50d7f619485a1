import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from statsmodels.stats.stattools import durbin_watson
from statsmodels.tsa.stattools import acf

from ohmwright.uncertainty import autocorrelation as auto

SERIES = st.lists(st.floats(-1e6, 1e6), min_size=3, max_size=60).filter(
    lambda values: max(values) - min(values) > 1e-3
)


@given(SERIES)
def test_lag1_agrees_with_statsmodels(values: list[float]) -> None:
    assert auto.lag1_autocorrelation(values) == pytest.approx(acf(values, nlags=1)[1], abs=1e-8)


@given(SERIES)
def test_von_neumann_agrees_with_durbin_watson_of_the_deviations(values: list[float]) -> None:
    deviations = np.array(values) - np.mean(values)
    assert auto.von_neumann_ratio(values) == pytest.approx(durbin_watson(deviations), rel=1e-7)


@given(SERIES, st.floats(-1e9, 1e9))
def test_a_level_leaves_the_scatter_alone(values: list[float], level: float) -> None:
    moved = np.array(values) + level
    assert auto.standard_deviation(moved) == pytest.approx(
        auto.standard_deviation(values), rel=1e-3, abs=1e-5
    )


def test_constant_readings_have_no_autocorrelation() -> None:
    assert auto.standard_deviation([5.0, 5.0, 5.0]) == 0.0
    assert math.isnan(auto.lag1_autocorrelation([5.0, 5.0, 5.0]))
    assert math.isnan(auto.von_neumann_ratio([5.0, 5.0, 5.0]))


@pytest.mark.parametrize("readings", [[], [[1.0, 2.0]], 3.0])
def test_a_series_is_one_dimensional_and_not_empty(readings: object) -> None:
    with pytest.raises(ValueError, match="one-dimensional"):
        auto.mean(readings)  # type: ignore[arg-type]


def test_one_reading_has_no_standard_deviation() -> None:
    with pytest.raises(ValueError, match="at least two"):
        auto.standard_deviation([1.0])


@given(st.integers(1, 300), st.floats(-0.999, 0.999))
def test_effective_size_lies_from_one_to_n(count: int, lag1: float) -> None:
    assert 1.0 <= auto.effective_size_ar1(count, lag1) <= count


def test_negative_autocorrelation_earns_nothing() -> None:
    assert auto.effective_size_ar1(50, -0.3) == 50
    assert auto.effective_size_ar1(2, -1.0) == 2


def test_fully_correlated_readings_are_one_reading() -> None:
    assert auto.effective_size_ar1(40, 1.0) == pytest.approx(1.0)


def test_effective_size_is_what_a_simulation_shows() -> None:
    rng = np.random.default_rng(5)
    noise = rng.normal(size=(4000, 30))
    series = np.empty_like(noise)
    series[:, 0] = noise[:, 0] / math.sqrt(1 - 0.6**2)
    for step in range(1, 30):
        series[:, step] = 0.6 * series[:, step - 1] + noise[:, step]
    variance_of_mean = series.mean(axis=1).var()
    size = (1 / (1 - 0.6**2)) / variance_of_mean
    assert auto.effective_size_ar1(30, 0.6) == pytest.approx(size, rel=0.06)


def test_von_neumann_distribution_is_that_of_a_simulation() -> None:
    readings = np.random.default_rng(1).normal(size=(20000, 8))
    steps = (np.diff(readings, axis=1) ** 2).sum(axis=1)
    ratios = steps / ((readings - readings.mean(axis=1, keepdims=True)) ** 2).sum(axis=1)
    for ratio in (0.6, 1.2, 2.0, 2.9):
        assert auto.von_neumann_probability(8, ratio) == pytest.approx(
            np.mean(ratios < ratio), abs=0.012
        )


def test_von_neumann_distribution_is_symmetric_about_two() -> None:
    for count in (3, 4, 11, 200):
        assert auto.von_neumann_probability(count, 2.0) == pytest.approx(0.5, abs=1e-12)
    below = auto.von_neumann_probability(7, 1.3)
    assert auto.von_neumann_probability(7, 2.7) == pytest.approx(1.0 - below, abs=1e-12)
    assert auto.von_neumann_probability(7, 0.0) == 0.0
    assert auto.von_neumann_probability(7, 4.0) == 1.0


def test_three_readings_follow_the_arcsine_law() -> None:
    # n = 3: ratio = 2 - cos(2 theta) with theta uniform, so P(ratio < c) has a closed form.
    for ratio in (1.1, 1.5, 2.4):
        assert auto.von_neumann_probability(3, ratio) == pytest.approx(
            1.0 - math.acos(ratio - 2.0) / math.pi, abs=1e-9
        )


@pytest.mark.parametrize("lag1", [1.0, -1.5, math.nan])
def test_impossible_autocorrelation_is_refused(lag1: float) -> None:
    with pytest.raises(ValueError, match="autocorrelation"):
        auto.asymptotic_inflation(lag1)
