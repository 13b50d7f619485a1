"""Which activations on record are a result's own, and how long RF was off before the last."""

import pytest

from ohmwright.engine.activations_on_record import results_behind_rf
from ohmwright.engine.rests_on_record import rests_on_record
from ohmwright.engine.warmth_on_record import warmth_on_record
from ohmwright.model.event import (
    ActivationClosed,
    Event,
    ProtectionProved,
    RunResumed,
    StepStarted,
)
from tests.records.some_events import AT, point, started

BEGUN = started("a")


def rf(on_at_s: float | None, on_s: float) -> ActivationClosed:
    return ActivationClosed(at=AT, bench_s=0.0, on_s=on_s, on_at_bench_s=on_at_s)


def behind(*events: Event) -> list[tuple[list[float], int]]:
    """How long RF was on in each activation before each result, and how many are its own."""
    found = results_behind_rf((BEGUN, *events))
    return [([one.on_s for one in each.activations], each.own) for each in found]


def test_an_activation_is_of_one_result_alone() -> None:
    assert behind(rf(0, 3), rf(9, 4), point(), point("b")) == [([3, 4], 2), ([3, 4], 0)]
    assert behind(rf(0, 3), point(), rf(9, 0), rf(10, 5), point("b"))[1] == ([3, 5], 1)


@pytest.mark.parametrize(
    "between",
    [
        StepStarted(at=AT, bench_s=0.0, stage="as_left", step="next"),
        ProtectionProved(at=AT, bench_s=0.0, what="limit", on_s=3.0),
    ],
)
def test_what_came_before_a_step_or_of_a_protection_is_no_results_own(between: Event) -> None:
    assert behind(rf(0, 3), between, point()) == [([3], 0)]


def test_a_part_that_was_resumed_begins_without_activations() -> None:
    resumed = RunResumed(at=AT, bench_s=0.0, operator="Áda", done=1)
    assert behind(rf(0, 3), resumed, rf(5, 4), point()) == [([4], 1)]


def off_s(*events: Event) -> list[float]:
    return [rest.off_s for rest in rests_on_record((BEGUN, *events)).values()]


def test_a_rest_is_from_the_end_of_one_activation_to_the_begin_of_the_next() -> None:
    assert off_s(rf(10, 3), rf(20, 5), point()) == [7]
    rounded = 13.001 - 0.002
    assert off_s(rf(10, 3), rf(rounded, 5), point()) == [0], "times on record are rounded"


def test_a_point_that_was_done_again_without_rf_has_no_rest() -> None:
    assert off_s(rf(10, 3), rf(20, 5), point(), point()) == []


def test_without_the_time_of_one_activation_the_warmth_is_not_known() -> None:
    result = point().result
    assert warmth_on_record([rf(0, 3), rf(9, 4)], {}, result, 6.0) is not None
    assert warmth_on_record([rf(None, 3), rf(9, 4)], {}, result, 6.0) is None
