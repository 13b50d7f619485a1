import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.uncertainty import limits
from ohmwright.uncertainty.conformity import Limits
from ohmwright.uncertainty.limits import Reversal


@given(st.floats(1.0, 400.0))
def test_bipolar_leakage_limit_is_one_percent_of_rated_power(rated: float) -> None:
    current_ma = limits.bipolar_leakage_limit_ma(rated)
    assert limits.leakage_power_w(current_ma) == pytest.approx(0.01 * rated)


def test_output_band_starts_above_a_tenth_of_rated_power() -> None:
    assert limits.output_limits_w(30.0, 300.0) is None
    band = limits.output_limits_w(200.0, 300.0)
    assert band is not None
    assert (band.lower, band.upper) == pytest.approx((160.0, 240.0))


def test_lowest_output_is_the_smaller_figure() -> None:
    assert limits.lowest_output_limit_w(300.0) == 10.0
    assert limits.lowest_output_limit_w(50.0) == 2.5


@pytest.mark.parametrize(
    ("outputs", "allowance", "expected"),
    [
        ([10, 20, 30, 40], 0.0, []),
        ([10, 20, 20, 40], 0.0, []),
        ([10, 30, 20, 40], 0.0, [Reversal(3, 2, 10)]),
        ([10, 30, 29, 40], 2.0, []),
        # A slow decline, each step of it within the allowance.
        ([30, 29, 28, 27], 1.5, [Reversal(3, 1, 2), Reversal(4, 1, 3)]),
    ],
)
def test_reversals(outputs: list[float], allowance: float, expected: list[Reversal]) -> None:
    assert list(limits.reversals([1, 2, 3, 4], outputs, allowance)) == expected


def test_settings_may_be_swept_downwards() -> None:
    assert limits.reversals([3, 2, 1], [30.0, 20.0, 10.0]) == ()


def test_a_setting_is_given_once() -> None:
    with pytest.raises(ValueError, match="once"):
        limits.reversals([1, 1], [1.0, 2.0])


def test_tolerance_band_has_a_floor() -> None:
    assert limits.tolerance_band(300.0, 0.01, floor=5.0) == Limits(295.0, 305.0)
    assert limits.tolerance_band(-1000.0, 0.01, floor=5.0) == Limits(-1010.0, -990.0)
    with pytest.raises(ValueError, match="numbers"):
        limits.tolerance_band(math.nan, 0.01)
