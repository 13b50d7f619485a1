import math

import pytest
from GTC import type_a

from ohmwright.uncertainty import inputs

READINGS = [300.1, 300.4, 299.8, 300.2, 300.0, 299.9, 300.3, 300.1, 299.7, 300.2]


def test_independent_readings_agree_with_gtc() -> None:
    item = inputs.from_readings("I", READINGS)
    expected = type_a.estimate(READINGS)
    assert item.value == pytest.approx(expected.x)
    assert item.standard_uncertainty == pytest.approx(expected.u)
    assert item.dof == expected.df


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
    ("readings", "message"),
    [
        ([1.0], "I: one reading"),
        ([], "one-dimensional"),
        ([[1.0, 2.0]], "one-dimensional"),
        ([1.0, math.nan] * 5, "finite"),
    ],
)
def test_readings_that_cannot_do_are_refused(readings: list[float], message: str) -> None:
    with pytest.raises(ValueError, match=message):
        inputs.from_readings("I", readings)


@pytest.mark.parametrize("u", [-1.0, math.nan, math.inf])
def test_an_uncertainty_is_a_finite_number(u: float) -> None:
    with pytest.raises(ValueError, match="load: a standard uncertainty"):
        inputs.Input("load", 1.0, u)


def test_half_width() -> None:
    assert inputs.rectangular("R", 0, 3.0).standard_uncertainty == pytest.approx(math.sqrt(3))


PAIR = (inputs.Input("I", 1.0, 0.01), inputs.Input("R", 200.0, 1.0), inputs.Input("k", 1.0, 0.1))


@pytest.mark.parametrize(
    ("correlations", "message"),
    [
        ({("I", "Q"): 0.5}, "no such two inputs"),
        ({("I", "I"): 0.5}, "no such two inputs"),
        ({("I", "R"): 1.5}, "cannot hold together"),
        ({("I", "R"): math.inf}, "cannot hold together"),
        ({("I", "R"): 0.9, ("R", "k"): 0.9, ("I", "k"): -0.9}, "cannot hold together"),
    ],
)
def test_impossible_correlations_are_refused(
    correlations: dict[tuple[str, str], float], message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        inputs.correlation_matrix(PAIR, correlations)


def test_a_scatter_finer_than_the_digit_says_nothing_of_its_degrees_of_freedom() -> None:
    item = inputs.from_readings("I", [500.0, 500.1] * 6, resolution=1.0)
    assert (item.standard_uncertainty, item.dof) == (pytest.approx(1 / math.sqrt(12)), math.inf)
    alike = inputs.from_readings("I", [500.0] * 3)
    assert (alike.standard_uncertainty, alike.dof) == (0.0, math.inf)
