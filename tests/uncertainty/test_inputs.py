import math

import numpy as np
import pytest
from GTC import type_a

from ohmwright.uncertainty import inputs
from ohmwright.uncertainty.distributions import coverage_factor

READINGS = [300.1, 300.4, 299.8, 300.2, 300.0, 299.9, 300.3, 300.1, 299.7, 300.2]


def ar1(lag1: float, count: int, series: int, seed: int = 4) -> np.ndarray:
    noise = np.random.default_rng(seed).normal(size=(series, count))
    noise[:, 0] /= math.sqrt(1 - lag1**2)
    for step in range(1, count):
        noise[:, step] += lag1 * noise[:, step - 1]
    return noise


def coverage(series: np.ndarray, lag1: float | None) -> float:
    held = 0
    for readings in series:
        item = inputs.from_readings("x", readings, lag1=lag1)
        held += abs(item.value) <= coverage_factor(item.dof) * item.standard_uncertainty
    return held / len(series)


def test_independent_readings_agree_with_gtc() -> None:
    item = inputs.from_readings("I", READINGS, lag1=0.0)
    expected = type_a.estimate(READINGS)
    assert item.value == pytest.approx(expected.x)
    assert item.standard_uncertainty == pytest.approx(expected.u)
    assert item.dof == expected.df


def test_correlated_readings_keep_the_coverage_that_ignoring_it_loses() -> None:
    series = ar1(0.6, 50, 600)
    assert coverage(series, lag1=None) > 0.92
    assert coverage(series, lag1=0.6) == pytest.approx(0.95, abs=0.03)
    assert coverage(series, lag1=0.0) < 0.75


def test_lag1_is_unbiased_where_the_plain_estimate_is_not() -> None:
    estimates = [inputs.unbiased_lag1(readings) for readings in ar1(0.5, 20, 1500)]
    assert np.mean(estimates) == pytest.approx(0.5, abs=0.03)


def test_resolution_is_a_floor() -> None:
    item = inputs.from_readings("I", [500.0] * 12, resolution=1.0)
    assert item.standard_uncertainty == pytest.approx(1 / math.sqrt(12))
    assert item.dof == math.inf
    assert item.distribution == "rectangular"
    fine = inputs.from_readings("I", READINGS, resolution=1e-6)
    assert fine.distribution == "student t"


def test_identical_readings_of_a_continuous_quantity_have_no_uncertainty() -> None:
    assert inputs.from_readings("I", [500.0] * 12).standard_uncertainty == 0.0


@pytest.mark.parametrize(
    ("readings", "lag1", "message"),
    [
        ([1.0, 2.0, 3.0], None, "too few to estimate"),
        ([1.0], 0.0, "only one independent"),
        ([1.0, 2.0, 3.0], 1.0, "only one independent"),
        ([], None, "one-dimensional"),
        ([1.0, math.nan] * 5, 0.0, "finite"),
    ],
)
def test_readings_that_cannot_do_are_refused(
    readings: list[float], lag1: float | None, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        inputs.from_readings("I", readings, lag1=lag1)


@pytest.mark.parametrize("u", [-1.0, math.nan, math.inf])
def test_an_uncertainty_is_a_finite_number(u: float) -> None:
    with pytest.raises(ValueError, match="load: a standard uncertainty"):
        inputs.Input("load", 1.0, u)


def test_half_widths() -> None:
    assert inputs.rectangular("R", 0, 3.0).standard_uncertainty == pytest.approx(math.sqrt(3))
    assert inputs.arcsine("R", 0, 2.0).standard_uncertainty == pytest.approx(math.sqrt(2))


PAIR = (inputs.Input("I", 1.0, 0.01), inputs.Input("R", 200.0, 1.0), inputs.Input("k", 1.0, 0.1))


@pytest.mark.parametrize(
    ("correlations", "message"),
    [
        ({("I", "Q"): 0.5}, "no such two inputs"),
        ({("I", "I"): 0.5}, "no such two inputs"),
        ({("I", "R"): 1.5}, "cannot hold together"),
        ({("I", "R"): 0.9, ("R", "k"): 0.9, ("I", "k"): -0.9}, "cannot hold together"),
    ],
)
def test_impossible_correlations_are_refused(
    correlations: dict[tuple[str, str], float], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        inputs.correlation_matrix(PAIR, correlations)


def test_paired_correlation_agrees_with_numpy() -> None:
    first, second = ar1(0.3, 30, 2)
    assert inputs.paired_correlation(first, second) == pytest.approx(
        np.corrcoef(first, second)[0, 1]
    )
    assert math.isnan(inputs.paired_correlation(first, np.zeros(30)))
