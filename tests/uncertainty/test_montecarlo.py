import math

import numpy as np
import pytest

from ohmwright.uncertainty.budget import combine, linear_is_valid
from ohmwright.uncertainty.inputs import Correlations, Input, rectangular
from ohmwright.uncertainty.montecarlo import (
    SEQUENCE_TRIALS,
    Trials,
    numerical_tolerance,
    simulate_adaptively,
)

POWER = (Input("I", 1.0, 0.01), rectangular("R", 300.0, 3.0))


def power(current, load):  # type: ignore[no-untyped-def]
    return current * current * load


def itself(x):  # type: ignore[no-untyped-def]
    return x


def simulate(model, inputs, fewest, seed, correlations: Correlations | None = None) -> Trials:  # type: ignore[no-untyped-def]
    return simulate_adaptively(model, inputs, seed, correlations=correlations, fewest_trials=fewest)


def test_the_same_seed_gives_the_same_bits() -> None:
    first, second = (simulate(power, POWER, 30_000, seed=7) for _ in range(2))
    assert first.ordered.tobytes() == second.ordered.tobytes()
    assert first.mean == second.mean
    other = simulate(power, POWER, 30_000, seed=8)
    assert other.ordered.tobytes() != first.ordered.tobytes()


def test_more_trials_contain_the_fewer() -> None:
    fewer = simulate(power, POWER, 0, seed=7).ordered
    more = simulate(power, POWER, fewer.size + SEQUENCE_TRIALS, seed=7).ordered
    assert fewer.size < more.size
    assert np.isin(fewer, more).all()


@pytest.mark.parametrize(
    ("item", "kurtosis"),
    [
        (Input("x", 5.0, 2.0), 3.0),
        (rectangular("x", 5.0, 2.0 * math.sqrt(3)), 1.8),
        (Input("x", 5.0, 2.0, math.inf, "student t"), 3.0),
    ],
)
def test_distributions_have_their_moments(item: Input, kurtosis: float) -> None:
    trials = simulate(itself, [item], 200_000, seed=1)
    assert trials.mean == pytest.approx(5.0, abs=0.02)
    assert trials.standard_uncertainty == pytest.approx(2.0, rel=0.01)
    fourth = np.mean(((trials.ordered - 5.0) / 2.0) ** 4)
    assert fourth == pytest.approx(kurtosis, rel=0.05)


def test_student_t_has_its_scale() -> None:
    # JCGM 101 6.4.9: the scale is s / sqrt(n), so the spread is larger by sqrt(dof / (dof - 2)).
    trials = simulate(itself, [Input("x", 0.0, 1.0, 10, "student t")], 200_000, seed=1)
    assert trials.standard_uncertainty == pytest.approx(math.sqrt(10 / 8), rel=0.02)
    assert trials.symmetric_interval().high == pytest.approx(2.228, abs=0.03)


def test_correlated_inputs_are_correlated_and_others_left_alone() -> None:
    items = [Input("a", 0.0, 1.0), Input("b", 0.0, 1.0), rectangular("c", 0.0, math.sqrt(3))]
    total = simulate(lambda a, b, c: a + b + c, items, 200_000, 2, {("a", "b"): 0.8})
    assert total.standard_uncertainty == pytest.approx(math.sqrt(2 + 1.6 + 1), rel=0.01)
    alone = simulate(lambda a, b, c: c, items, 50_000, 2, {("a", "b"): 0.8})
    assert alone.ordered[-1] <= math.sqrt(3) + 1e-9


def test_only_normal_inputs_can_be_correlated() -> None:
    with pytest.raises(ValueError, match="R: only normal inputs"):
        simulate(power, POWER, 100, 1, {("I", "R"): 0.5})


def test_too_few_trials_hold_no_interval() -> None:
    with pytest.raises(ValueError, match="hold no interval"):
        Trials(np.arange(5.0), 2.0, 1.6).symmetric_interval(0.999)


def test_an_interval_leaves_as_many_trials_below_as_above() -> None:
    interval = Trials(np.arange(100_000.0), 0.0, 1.0).symmetric_interval(0.95)
    assert interval.low == pytest.approx(2_500, abs=1)
    assert interval.high == pytest.approx(97_500, abs=1)
    assert interval.width == 95_000


def test_adaptive_stops_when_the_digits_are_settled() -> None:
    coarse = simulate_adaptively(power, POWER, seed=3, significant_digits=1)
    fine = simulate_adaptively(power, POWER, seed=3, significant_digits=2)
    assert SEQUENCE_TRIALS < coarse.ordered.size < fine.ordered.size
    delta = numerical_tolerance(fine.standard_uncertainty)
    assert fine.mean == pytest.approx(300.03, abs=delta)
    again = simulate_adaptively(power, POWER, seed=3, significant_digits=2)
    assert again.ordered.tobytes() == fine.ordered.tobytes()


def test_adaptive_gives_up_on_a_distribution_without_variance(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("ohmwright.uncertainty.montecarlo.MAXIMUM_TRIALS", 200_000)
    cauchy = Input("x", 0.0, 1.0, 1.0, "student t")
    with pytest.raises(ValueError, match="do not settle"):
        simulate_adaptively(itself, [cauchy], seed=1)


@pytest.mark.parametrize(("low", "high"), [(-1.5, 1.0), (-1.0, 1.5)])
def test_an_interval_that_is_off_at_one_end_overturns_the_budget(low: float, high: float) -> None:
    budget = combine(0.0, (Input("x", 0.0, 1.0 / 1.96),), (1.0,))
    agreed = Trials(np.linspace(-1.0, 1.0, 100_001) / 0.95, 0.0, 0.5)
    assert linear_is_valid(budget, agreed)
    ends = np.concatenate(
        [np.linspace(low / 0.95, 0.0, 50_000), np.linspace(0.0, high / 0.95, 50_000)]
    )
    assert not linear_is_valid(budget, Trials(ends, 0.0, 0.5))


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    [(0.35, 2, 0.005), (0.35, 1, 0.05), (6.1, 2, 0.05), (0.0999, 2, 0.005), (123.0, 2, 5.0)],
)
def test_numerical_tolerance(u: float, digits: int, delta: float) -> None:
    # JCGM 101 7.9.2: u = c * 10^l, delta = 10^l / 2.
    assert numerical_tolerance(u, digits) == pytest.approx(delta)


def test_monte_carlo_upholds_a_linear_budget_and_overturns_a_curved_one() -> None:
    straight = (Input("a", 10.0, 1.0), Input("b", 5.0, 2.0))
    model = lambda a, b: a + b  # noqa: E731
    trials = simulate(model, straight, 400_000, 1)
    assert linear_is_valid(combine(15.0, straight, (1.0, 1.0)), trials)
    curved = (Input("x", 0.1, 0.2),)
    square = lambda x: x * x  # noqa: E731
    budget = combine(0.01, curved, (0.2,))
    assert not linear_is_valid(budget, simulate(square, curved, 100_000, 1))
