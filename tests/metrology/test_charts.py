import numpy as np
import pytest

from ohmwright.metrology import charts, run_length
from ohmwright.metrology.charts import Signal


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
