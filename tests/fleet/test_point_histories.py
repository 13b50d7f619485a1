"""Results on record as histories: adjustments begin anew, changed limits do no harm."""

from collections import namedtuple
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from ohmwright.fleet.point_histories import point_histories
from ohmwright.fleet.years import date_of, years_of

COLUMNS = "model step point asset run stage at quantity value uncertainty target lower upper"
Row = namedtuple("Row", COLUMNS.split())
AT = datetime(2026, 1, 5, 8, tzinfo=UTC)


def row(run: int, stage: str, value: float, asset: str = "HF-1", **other: object) -> Row:
    at = (AT + timedelta(days=365 * run, minutes=len(stage))).isoformat()
    said = {"quantity": "power_w", "uncertainty": 0.4, "target": 80.0, "lower": 76.0, "upper": 84.0}
    return Row("M", "cut", "100 ohm", asset, run, stage, at, **{"value": value} | said | other)


def test_the_first_value_after_an_adjustment_begins_anew() -> None:
    rows = [
        row(1, "as_found", 81.0),
        row(2, "as_found", 84.8),
        row(2, "as_left", 80.0),
        row(3, "as_found", 81.5),  # adjusted, and no value as left
        row(4, "as_found", 80.4),
        row(5, "as_found", 80.8),
        row(5, "as_left", 80.9),  # was not adjusted
        row(6, "as_found", 81.0),  # adjusted as in run 3
        row(7, "as_left", 80.2),
    ]
    (found,) = point_histories(rows, adjusted={2, 3, 6})
    anew = [False, False, True, False, True, False, False, False, True]
    assert found.seen.adjusted[0].tolist() == anew
    values = [0.25, 1.2, 0.0, 0.375, 0.1, 0.2, 0.225, 0.25, 0.05]
    assert found.seen.values[0] == pytest.approx(values)
    assert found.seen.uncertainties[0] == pytest.approx(np.full(9, 0.1))


def test_errors_are_relative_so_that_a_target_or_limits_may_change() -> None:
    rows = [row(1, "as_found", 82.0), row(2, "as_found", 41.0, target=40.0, lower=36.0, upper=44.0)]
    (found,) = point_histories(rows, adjusted=set())
    assert found.seen.values[0] == pytest.approx([0.25, 0.25])
    assert found.limits[0].value_of(1.0) == 44.0


def test_a_value_under_an_upper_limit_alone_counts_as_its_share_of_it() -> None:
    leakage = {"quantity": "current_ma", "target": 150.0, "lower": -150.0, "upper": 150.0}
    (found,) = point_histories([row(1, "as_found", 60.0, **leakage)], adjusted=set())
    assert found.seen.values[0] == pytest.approx([0.4])
    assert found.limits[0].one_sided
    assert found.limits[0].least == 0.0
    off = {"quantity": "deviation_percent", "target": 5.0, "lower": -5.0, "upper": 15.0}
    (found,) = point_histories([row(1, "as_found", -2.0, **off)], adjusted=set())
    assert found.limits[0].least == -np.inf


def test_units_of_different_length_keep_their_own_values() -> None:
    rows = [
        row(1, "as_found", 80.0, "A"),
        row(2, "as_found", 82.0, "A"),
        row(1, "as_found", 81.0, "B"),
    ]
    rows.insert(1, row(1, "as_found", 84.0, "A"))  # measured again: the last one counts
    (found,) = point_histories(rows, adjusted=set())
    assert found.assets == ("A", "B")
    assert found.seen.known.tolist() == [[True, True], [True, False]]
    assert found.seen.values[:, 0] == pytest.approx([1.0, 0.25])


def test_years_and_dates_are_each_other_s_inverse() -> None:
    assert abs(date_of(years_of(AT)) - AT) < timedelta(milliseconds=1)
    assert years_of(datetime(2000, 1, 1, tzinfo=UTC)) == 0.0
