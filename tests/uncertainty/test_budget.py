import math

import pytest
from GTC import ureal
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import correlated_values, ufloat

from ohmwright.uncertainty.budget import Budget, combine, second_order_variance
from ohmwright.uncertainty.inputs import Input

ESTIMATE = st.floats(0.1, 1e3)
RELATIVE = st.floats(1e-5, 0.03)


def model(current, load, gain, offset):  # type: ignore[no-untyped-def]
    return (current * gain + offset) ** 2 * load


def quantities(i: float, r: float, relative: float) -> list[Input]:
    return [
        Input("I", i, relative * i, 9, "student t"),
        Input("R", r, 0.01 * r, 30, "rectangular"),
        Input("gain", 1.0, relative / 2),
        Input("offset", 0.0, relative * i / 3, 4),
    ]


def budget_of(items: list[Input]) -> Budget:
    """By the derivatives of `model`, worked out by hand."""
    current, load, gain, offset = (item.value for item in items)
    seen = current * gain + offset
    per_seen = 2 * seen * load
    sensitivities = (per_seen * gain, seen**2, per_seen * current, per_seen)
    return combine(seen**2 * load, items, sensitivities)


@given(ESTIMATE, ESTIMATE, RELATIVE)
def test_agrees_with_uncertainties(i: float, r: float, relative: float) -> None:
    items = quantities(i, r, relative)
    budget = budget_of(items)
    expected = model(*(ufloat(item.value, item.standard_uncertainty) for item in items))
    assert budget.value == pytest.approx(expected.nominal_value)
    assert budget.standard_uncertainty == pytest.approx(expected.std_dev, rel=1e-7)


@given(ESTIMATE, ESTIMATE, RELATIVE)
def test_dof_agree_with_gtc(i: float, r: float, relative: float) -> None:
    items = quantities(i, r, relative)
    expected = model(*(ureal(item.value, item.standard_uncertainty, item.dof) for item in items))
    assert budget_of(items).effective_dof == pytest.approx(expected.df, rel=1e-6)


@given(ESTIMATE, ESTIMATE, RELATIVE, st.floats(-0.95, 0.95))
def test_correlation_agrees_with_uncertainties(
    i: float, r: float, relative: float, correlation: float
) -> None:
    items = [Input("I", i, relative * i), Input("R", r, 0.01 * r)]
    u = [item.standard_uncertainty for item in items]
    covariance = [
        [u[0] ** 2, correlation * u[0] * u[1]],
        [correlation * u[0] * u[1], u[1] ** 2],
    ]
    current, load = correlated_values([i, r], covariance)
    budget = combine(i * i * r, items, (2 * i * r, i * i), {("I", "R"): correlation})
    assert budget.standard_uncertainty == pytest.approx(
        (current * current * load).std_dev, rel=1e-6
    )


def test_full_anticorrelation_can_cancel() -> None:
    items = [Input("a", 1.0, 0.1), Input("b", 1.0, 0.1)]
    budget = combine(2.0, items, [1.0, 1.0], {("a", "b"): -1.0})
    assert budget.standard_uncertainty == pytest.approx(0.0, abs=1e-12)


def test_correlated_lines_take_the_fewest_dof_among_them() -> None:
    items = [Input("a", 0, 1.0, 4), Input("b", 0, 1.0, 50), Input("c", 0, 1.0, 9)]
    budget = combine(0.0, items, [1.0, 1.0, 1.0], {("a", "b"): 0.5})
    # a and b together: variance 3 with 4 dof; c: 1 with 9.
    assert budget.effective_dof == pytest.approx(16 / (9 / 4 + 1 / 9))


def test_lines_by_one_scatter_have_its_dof_once() -> None:
    """GUM G.4.1: the formula is of independent estimates, and these two are one and the same."""
    items = [Input(name, 0, 1.0, 5, scatter="readings") for name in "ab"]
    assert combine(0.0, items, [1.0, 1.0]).effective_dof == pytest.approx(5)
    apart = [Input(name, 0, 1.0, 5) for name in "ab"]
    assert combine(0.0, apart, [1.0, 1.0]).effective_dof == pytest.approx(10)
    correlated = combine(0.0, [*items, Input("c", 0, 1.0)], [1.0] * 3, {("a", "c"): 0.5})
    assert correlated.effective_dof == pytest.approx(5)
    unlike = [Input("a", 0, 1.0, 5, scatter="it"), Input("b", 0, 1.0, 9, scatter="it")]
    for either_way in (unlike, unlike[::-1]):
        assert combine(0.0, either_way, [1.0, 1.0]).effective_dof == pytest.approx(5)
    beside = [*items, Input("c", 0, 1.0, 9)]
    assert combine(0.0, beside, [1.0] * 3).effective_dof == pytest.approx(9 / (4 / 5 + 1 / 9))


def test_expanded_uncertainty_says_its_factor() -> None:
    expanded = combine(0.0, [Input("a", 0, 2.0)], [1.0]).expanded(0.9545)
    assert expanded.coverage_factor == pytest.approx(2.0, abs=1e-3)
    assert expanded.uncertainty == pytest.approx(4.0, abs=2e-3)


def test_everything_exact_has_infinite_dof() -> None:
    budget = combine(6.0, [Input("a", 3.0, 0.0, 5)], [2.0])
    assert (budget.standard_uncertainty, budget.effective_dof) == (0.0, math.inf)


def test_second_order_terms_of_a_square() -> None:
    # y = x^2 about 0: variance 2 u^4, of which the linear budget sees nothing.
    items = [Input("x", 0.0, 0.3)]
    assert second_order_variance(lambda x: x * x, items) == pytest.approx(2 * 0.3**4)
