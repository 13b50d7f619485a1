"""A reading with RF on that no setting explains is told from one that a unit may deliver."""

from math import nan

import pytest

from ohmwright.instruments.plausible_current import (
    due_current_ma,
    implausible_words,
    in_three_digits,
    is_plausible,
)
from ohmwright.model.hardware import MeterData

METER = MeterData(
    max_current_ma=2500, resolution_ma=0.1, readings_per_s=5, window_s=0.2, zero_ma=0.5
)


def test_a_current_is_told_without_a_power_of_ten() -> None:
    assert [in_three_digits(ma) for ma in (1224.7, 94.87, 0.0898)] == [
        "1220 mA",
        "94.9 mA",
        "0.0898 mA",
    ]


def test_what_is_due_is_the_current_that_makes_the_power() -> None:
    assert due_current_ma(4.5, 500) == pytest.approx(94.87, abs=0.01)


@pytest.mark.parametrize(
    ("read_ma", "plausible"),
    [
        (0.0898, False),
        (-90.0, False),
        (nan, False),
        (8.0, False),
        (40.0, True),
        (200.0, True),
        (1100.0, False),
    ],
)
def test_a_current_is_plausible_within_ten_times(read_ma: float, plausible: bool) -> None:
    assert is_plausible(read_ma, 95) == plausible
    assert bool(implausible_words(read_ma, 95, METER)) != plausible


def test_the_words_name_zero_unit_and_scale() -> None:
    assert implausible_words(0.0898, 94.87, METER) == (
        "0.0898 mA was read with RF on, no more than the meter's own zero (0.5 mA), where about "
        "94.9 mA is due: unit or scale of the reading ('fetch_current' of the command set), or no "
        "output (lead, standby, mode)"
    )
    assert "zero" not in implausible_words(1100, 95, METER)
    assert implausible_words(nan, 95, METER).startswith("no current was read with RF on, where")
