"""Limits from tolerances: absolute, percent, asymmetric, the larger of two."""

import pytest
from pydantic import TypeAdapter, ValidationError

from ohmwright.model.tolerance import Tolerance, at_least, at_most, target_of

TOLERANCE: TypeAdapter[Tolerance] = TypeAdapter(Tolerance)


@pytest.mark.parametrize(
    ("tolerance", "lower", "upper"),
    [
        ({"percent": 10}, 180, 220),
        ({"absolute_w": 5}, 195, 205),
        ({"percent": 10, "absolute_w": 30}, 170, 230),
        ({"percent": 10, "absolute_w": 3}, 180, 220),
        ({"lower": {"percent": 20}, "upper": {"absolute_w": 10}}, 160, 210),
        ({"lower": {"percent": 5}, "upper": {"percent": 10}}, 190, 220),
    ],
)
def test_limits(tolerance: dict[str, object], lower: float, upper: float) -> None:
    target = target_of("power_w", 200.0, TOLERANCE.validate_python(tolerance))
    assert (target.lower, target.upper) == pytest.approx((lower, upper))
    assert target.half_width == pytest.approx(min(200 - lower, upper - 200))


@pytest.mark.parametrize("bad", [{}, {"percent": 0}, {"lower": {"percent": 1}}, {"percent": -1}])
def test_a_tolerance_must_say_something(bad: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        TOLERANCE.validate_python(bad)


def test_which_limits_count() -> None:
    both = target_of("power_w", 200.0, TOLERANCE.validate_python({"percent": 10}))
    targets = both, at_most("current_ma", 150.0), at_least("current_ma", 20.0)
    found = [(target.one_sided, target.lower_only) for target in targets]
    assert found == [(False, False), (True, False), (False, True)]
