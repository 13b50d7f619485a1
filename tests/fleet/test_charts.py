import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.fleet import charts
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


@pytest.mark.parametrize(
    ("shift", "published", "series"), [(0.0, 91.75, 400), (0.2, 66.80, 400), (1.0, 9.22, 2000)]
)
def test_the_rules_signal_as_late_as_published(shift: float, published: float, series: int) -> None:
    """Average run lengths of all four rules, Champ and Woodall 1987 (from memory)."""
    rng = np.random.default_rng(3)
    first = []
    for _ in range(series):
        signals = charts.western_electric(rng.normal(shift, 1.0, 2000), 0.0, 1.0)
        first.append(signals[0].index + 1)
    assert np.mean(first) == pytest.approx(published, abs=3 * np.std(first) / series**0.5)


SERIES = st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=60)


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
