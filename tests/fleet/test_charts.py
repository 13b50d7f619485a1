import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import signal, stats

from ohmwright.fleet import charts, run_length
from ohmwright.fleet.charts import Signal


@pytest.mark.parametrize(
    ("z", "expected"),
    [
        ([0.0, 3.1], [Signal(1, 1)]),
        ([-3.1], [Signal(0, 1)]),
        ([2.1, 0.5, 2.2], [Signal(2, 2)]),
        ([2.1, 0.5, 0.5, 2.2], []),
        ([2.1, -2.2], []),
        ([2.1, 2.2, 0.1], [Signal(1, 2)]),
        ([1.1, 1.2, 0.1, 1.3, 1.1], [Signal(4, 3)]),
        ([1.1, 1.2, -0.1, 0.1, 1.3, 1.1], []),
        ([0.1] * 8, [Signal(7, 4)]),
        ([0.1] * 4 + [-0.1] + [0.1] * 4, []),
        ([-0.1] * 9, [Signal(7, 4), Signal(8, 4)]),
        ([], []),
    ],
)
def test_western_electric(z: list[float], expected: list[Signal]) -> None:
    values = 50.0 + 2.0 * np.array(z)
    assert list(charts.western_electric(values, 50.0, 2.0)) == expected


def test_a_chart_needs_a_sigma() -> None:
    with pytest.raises(ValueError, match="sigma above zero"):
        charts.western_electric([1.0], 0.0, 0.0)


def test_western_electric_run_length_is_that_of_a_simulation() -> None:
    rng = np.random.default_rng(3)
    first = []
    for _ in range(400):
        signals = charts.western_electric(rng.normal(1.0, 1.0, 120), 0.0, 1.0)
        first.append(signals[0].index + 1)
    assert run_length.western_electric_run_length(1.0) == pytest.approx(np.mean(first), rel=0.12)


def test_run_length_is_even_in_the_shift() -> None:
    for shift in (0.5, 2.0):
        for length in (
            run_length.shewhart_run_length,
            lambda s: run_length.cusum_run_length(0.5, 4.0, s),
            lambda s: run_length.ewma_run_length(0.2, 2.962, s),
            run_length.western_electric_run_length,
        ):
            assert length(shift) == pytest.approx(length(-shift), rel=1e-9)


def test_ewma_of_weight_one_is_the_shewhart_chart() -> None:
    values = [0.0, 3.5, -1.0, -3.2]
    chart = charts.ewma(values, target=0.0, sigma=1.0, weight=1.0)
    assert chart.statistic.tolist() == values
    assert chart.signals == (1, 3)
    with pytest.raises(ValueError, match="weight"):
        charts.ewma(values, 0.0, 1.0, weight=0.0)


def test_cusum_mirrors() -> None:
    values = np.random.default_rng(2).normal(size=50)
    up, down = charts.cusum(values, 0.0, 0.5, 4.0), charts.cusum(-values, 0.0, 0.5, 4.0)
    np.testing.assert_allclose(up.high, down.low)
    assert up.signals == down.signals


def test_moving_ranges_find_sigma_under_a_drift() -> None:
    values = np.random.default_rng(2).normal(0.0, 2.0, 4000) + np.linspace(0.0, 100.0, 4000)
    assert charts.sigma_from_moving_ranges(values) == pytest.approx(2.0, rel=0.05)
    with pytest.raises(ValueError, match="two values"):
        charts.sigma_from_moving_ranges([1.0])


def test_constants_need_a_subgroup() -> None:
    with pytest.raises(ValueError, match="two values"):
        charts.shewhart_constants(1)


def test_range_constants_are_those_of_a_simulation() -> None:
    ranges = np.ptp(np.random.default_rng(1).normal(size=(100_000, 12)), axis=1)
    constants = charts.shewhart_constants(12)
    assert constants.d2 == pytest.approx(ranges.mean(), rel=2e-3)
    assert constants.d3 == pytest.approx(ranges.std(), rel=1e-2)


SERIES = st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=60)


@given(SERIES, st.floats(0.02, 1.0), st.floats(-2.0, 2.0))
def test_ewma_is_scipys_filter(values: list[float], weight: float, target: float) -> None:
    start = [(1.0 - weight) * target]
    expected, _ = signal.lfilter([weight], [1.0, weight - 1.0], values, zi=start)
    seen = charts.ewma(values, target, 1.0, weight)
    assert seen.statistic == pytest.approx(expected, abs=1e-12)


@given(SERIES, st.floats(0.0, 1.5))
def test_cusum_is_a_walk_above_its_lowest_point(values: list[float], slack: float) -> None:
    for sign, of in ((1.0, "high"), (-1.0, "low")):
        walk = np.cumsum(sign * np.asarray(values) - slack)
        expected = walk - np.minimum.accumulate(np.minimum(walk, 0.0))
        assert getattr(charts.cusum(values, 0.0, slack, 4.0), of) == pytest.approx(
            expected, abs=1e-11
        )


@pytest.mark.parametrize("n", [2, 3, 5, 10, 25])
def test_constants_agree_with_scipys_distributions(n: int) -> None:
    constants = charts.shewhart_constants(n)
    assert constants.c4 == pytest.approx(stats.chi(n - 1).mean() / (n - 1) ** 0.5, rel=1e-12)
    # E range = 2 E max, the largest of n having the density n Phi^(n-1) phi
    largest = stats.norm.expect(lambda x: x * n * stats.norm.cdf(x) ** (n - 1), lb=-10, ub=10)
    assert constants.d2 == pytest.approx(2.0 * largest, rel=1e-8)


@given(SERIES, st.integers(1, 4))
def test_western_electric_counts_as_its_words_say(values: list[float], rule: int) -> None:
    needed, window, beyond = charts.WESTERN_ELECTRIC[rule]
    expected = []
    for index, value in enumerate(values):
        recent = values[max(0, index - window + 1) : index + 1]
        up, down = sum(v > beyond for v in recent), sum(v < -beyond for v in recent)
        if (value > beyond and up >= needed) or (value < -beyond and down >= needed):
            expected.append(index)
    found = charts.western_electric(values, 0.0, 1.0)
    assert [one.index for one in found if one.rule == rule] == expected
