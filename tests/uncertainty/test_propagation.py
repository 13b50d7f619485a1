"""Which of linear budget and Monte Carlo is reported, and why."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from ohmwright.uncertainty.budget import (
    combine,
    is_clearly_linear,
    linear_is_valid,
    propagate,
)
from ohmwright.uncertainty.inputs import Input, rectangular
from ohmwright.uncertainty.montecarlo import Trials


def power(current: float, load: float) -> float:
    return current * current * load


def add(first: float, second: float) -> float:
    return first + second


def square(current: float) -> float:
    return current * current


def linear(model, inputs):
    """The linear budget, by the derivatives of the three models."""
    values = [item.value for item in inputs]
    slopes = {
        power: lambda i, r: (2 * i * r, i * i),
        add: lambda *_: (1.0, 1.0),
        square: lambda i: (2 * i,),
    }
    return combine(model(*values), inputs, slopes[model](*values))


def result(model, *inputs):
    return propagate(model, inputs, linear(model, inputs))


def test_a_gently_curved_model_of_normal_inputs_stays_linear() -> None:
    inputs = Input("I", 1.0, 0.004), Input("R", 500.0, 1.0)
    assert is_clearly_linear(power, inputs, linear(power, inputs))
    seen = result(power, *inputs)
    assert seen.propagation == "linear"
    assert seen.standard_uncertainty == pytest.approx(math.hypot(2 * 500 * 0.004, 1.0))


def test_a_strongly_curved_model_is_simulated() -> None:
    # I^2 of a current that is hardly known: a scaled noncentral chi-squared
    inputs = (Input("I", 1.0, 0.4),)
    seen = result(square, *inputs)
    exact = stats.ncx2(1, (1.0 / 0.4) ** 2, scale=0.4**2)
    low, high = exact.interval(0.95)
    assert seen.propagation == "Monte Carlo"
    assert seen.value == pytest.approx(exact.mean(), rel=0.01)
    assert seen.standard_uncertainty == pytest.approx(exact.std(), rel=0.01)
    assert seen.expanded.uncertainty == pytest.approx((high - low) / 2, rel=0.02)


def test_a_model_that_flattens_is_simulated_too() -> None:
    # the next terms take 30 % off the variance of x - 0.05 x^3 about 0, and add nothing
    inputs = (Input("x", 0.0, 1.0),)
    assert not is_clearly_linear(lambda x: x - 0.05 * x**3, inputs, combine(0.0, inputs, [1.0]))


@pytest.mark.parametrize("stretched", [1.0, -1.0])
def test_a_linear_interval_is_valid_only_where_both_its_ends_agree(stretched: float) -> None:
    z = stats.norm.ppf((np.arange(1000) + 0.5) / 1000)
    budget = combine(0.0, [Input("x", 0.0, 1.0)], [1.0])
    assert linear_is_valid(budget, Trials(z, 0.0, 1.0))
    one_tail_longer = np.where(stretched * z > 0, 2 * z, z)
    assert not linear_is_valid(budget, Trials(one_tail_longer, 0.0, 1.0))


def test_one_dominant_rectangular_line_is_simulated_and_keeps_its_own_factor() -> None:
    seen = result(add, Input("a", 5.0, 0.01), rectangular("b", 0.0, 1.0))
    assert seen.propagation == "Monte Carlo"
    # 95 % of a rectangle of half width 1 lies within 0.95
    assert seen.expanded.uncertainty == pytest.approx(0.95, abs=0.01)
    assert seen.expanded.coverage_factor == pytest.approx(0.95 * math.sqrt(3), abs=0.02)


def test_a_simulation_that_agrees_leaves_the_linear_budget() -> None:
    # rectangular makes 51 % of the variance: looked at, and found to have the same two digits
    inputs = Input("a", 5.0, 0.705), rectangular("b", 0.0, 1.228)
    assert not is_clearly_linear(add, inputs, linear(add, inputs))
    assert result(add, *inputs).propagation == "linear"


def test_few_degrees_of_freedom_are_left_to_welch_and_satterthwaite() -> None:
    seen = result(add, Input("a", 5.0, 0.1, 3.0, "student t"), rectangular("b", 0, 1))
    assert seen.propagation == "linear"


@settings(max_examples=5)
@given(st.floats(0.05, 5.0), st.floats(0.01, 0.1))
def test_the_same_problem_gives_the_same_bits(half_width: float, u: float) -> None:
    inputs = Input("a", 5.0, u), rectangular("b", 0.0, half_width)
    assert result(add, *inputs) == result(add, *inputs)
