"""What the generator's data say of a point bounds how far its trim may be moved."""

import pytest

from ohmwright.adjustment.point import STATED_GAIN_RATIO
from ohmwright.engine.point_spec import point_spec_of
from ohmwright.model.hardware import MeterData
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance, target_of

METER = MeterData(max_current_ma=2500, resolution_ma=1, readings_per_s=4, window_s=0.5)


def spec_of(**data):
    target = target_of("current_ma", 900.0, Allowance(absolute_ma=9.0))
    point = Point(name="P1", load_ohm=100, target=target)
    return point_spec_of(point, Timing(age_s=6.0), METER, None, **data)


def test_without_data_nothing_bounds_the_output_and_the_usual_gain_the_first_probe() -> None:
    spec = spec_of()
    assert (spec.highest, spec.stated_gain, spec.largest_gain) == (None, None, 6.0)


@pytest.mark.parametrize("count_ma", [0.5, 1.2, 12.0])
def test_a_stated_count_bounds_the_gain(count_ma) -> None:
    spec = spec_of(count_ma=count_ma)
    assert spec.stated_gain == count_ma
    assert spec.largest_gain == pytest.approx(STATED_GAIN_RATIO * count_ma)


@pytest.mark.parametrize(
    ("limit_ma", "highest"), [(1000.0, 1000.0), (900.0, 1080.0), (700.0, 840.0)]
)
def test_the_current_limit_or_a_fifth_more_where_it_is_the_target_bounds_the_output(
    limit_ma, highest
) -> None:
    assert spec_of(limit_ma=limit_ma).highest == pytest.approx(highest)
