"""What is said of a fault that a sweep went on after."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from ohmwright.api.outlived_faults import outlived_faults
from ohmwright.model.event import Fault, PointDone

NOW: dict[str, Any] = {"at": datetime(2026, 1, 5, tzinfo=UTC), "bench_s": 0.0}


@pytest.mark.parametrize(
    ("measured", "went_on"), [(None, "no value, then gone on"), (object(), "measured anew")]
)
def test_a_point_without_a_value_is_not_said_to_be_measured(measured: object, went_on: str) -> None:
    fault = Fault(**NOW, error="LinkLost", message="The line is gone. Look.", rf_state="unknown")
    point: Any = SimpleNamespace(point="cut 150 W", measured=measured)
    done = PointDone.model_construct(**NOW, result=point)
    assert list(outlived_faults([fault, done])) == [
        f"cut 150 W: {went_on}, after: The line is gone."
    ]


def test_a_fault_is_told_at_the_point_after_it_alone() -> None:
    """Would notice a fault told again at each point that was measured later without one."""
    fault = Fault(**NOW, error="LinkLost", message="The line is gone. Look.", rf_state="off")
    points: list[Any] = [SimpleNamespace(point=name, measured=object()) for name in "ab"]
    first, second = (PointDone.model_construct(**NOW, result=point) for point in points)
    assert list(outlived_faults([fault, first, second])) == [
        "a: measured anew, with RF read back as off, after: The line is gone."
    ]
