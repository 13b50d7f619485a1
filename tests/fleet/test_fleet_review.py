"""What a span of time brought, of results made by hand: which of them are qualified."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, cast

import pytest

from ohmwright.fleet.fleet_review import fleet_review

FIRST = datetime(2025, 3, 1, 9, tzinfo=UTC)


@dataclass
class Row:
    """One result, as the query of a fleet's review gives it."""

    run: int
    stage: str
    verdict: str
    uncovered: int = 0
    past_due: int = 0
    step: str = "cut"
    point: str = "500 ohm"
    asset: str = "HF-1"
    model: str = "Quillon 300"
    value: float | None = 250.0
    quantity: str | None = "power_w"
    target: float | None = 300.0
    lower: float = 280.0
    upper: float = 320.0

    @property
    def run_id(self) -> str:
        return f"run {self.run}"

    @property
    def at(self) -> str:
        return (FIRST + timedelta(days=100 * self.run)).isoformat()


def of_visit(run: int, **marked: dict[str, int]) -> list[Row]:
    """A unit that failed, was adjusted and passed; `marked`: a stage's marks."""
    verdicts = {"as_found": "fail", "adjust": "pass", "as_left": "pass"}
    return [Row(run, stage, said, **marked.get(stage, {})) for stage, said in verdicts.items()]


@pytest.mark.parametrize("ground", ["uncovered", "past_due"])
@pytest.mark.parametrize("stage", ["as_found", "as_left"])
def test_what_no_certificate_in_date_covers_qualifies_what_rests_on_it(
    ground: str, stage: str
) -> None:
    rows = [*of_visit(0), *of_visit(1, **{stage: {ground: 1}})]
    review = fleet_review(cast(Any, rows), FIRST)
    found, left = stage == "as_found", stage == "as_left"
    assert [failure.qualified for failure in review.failures] == [False, found]
    of_adjusted = [(unit.found_qualified, unit.left_qualified) for unit in review.adjusted]
    assert of_adjusted == [(False, False), (found, left)]
    assert [recurrence.qualified for recurrence in review.recurring] == [found]
    (model,) = review.models
    assert {"uncovered": model.uncovered, "past_due": model.past_due}[ground] == 1
    assert model.uncovered + model.past_due == 1


def test_what_did_not_pass_as_left_is_counted_undecided_or_not() -> None:
    rows = [Row(n, "as_left", said) for n, said in enumerate(("pass", "fail", "undecided"))]
    rows += [Row(3, "as_found", "not measured"), Row(4, "as_found", "pass")]
    (model,) = fleet_review(cast(Any, rows), FIRST).models
    assert model.not_passed_as_left == 3


def test_each_visit_without_a_pass_is_named_and_whether_its_unit_passed_since() -> None:
    rows = [
        Row(0, "as_found", "fail", asset="HF-1"),
        Row(1, "as_found", "undecided", asset="HF-2", uncovered=1),
        Row(2, "as_found", "pass", asset="HF-1"),
        Row(3, "as_found", "fail", asset="HF-2"),
        Row(4, "as_left", "pass", asset="HF-3"),
    ]
    first, second, third = fleet_review(cast(Any, rows), FIRST).without_pass
    assert (first.asset, first.left, first.passed_at) == ("HF-1", "fail", FIRST + timedelta(200))
    assert (second.asset, second.left, second.passed_at) == ("HF-2", "undecided", None)
    assert [one.qualified for one in (first, second, third)] == [False, True, False]
    assert third.run_id == "run 3"


def test_of_a_campaign_a_run_outside_it_tells_that_a_unit_passed_since() -> None:
    rows = [Row(0, "as_found", "fail"), Row(1, "as_found", "pass")]
    review = fleet_review(cast(Any, rows), FIRST, ["run 0"])
    assert [one.passed_at for one in review.without_pass] == [FIRST + timedelta(100)]


def test_a_point_that_failed_by_no_value_beyond_its_limits_is_told_too() -> None:
    rows = [
        Row(0, "as_found", "fail", point="far too much power", value=None),
        Row(0, "as_found", "fail", point="less than lower", quantity=None, target=None),
        Row(0, "as_found", "fail", point="cords", value=None, quantity=None, target=None),
    ]
    review = fleet_review(cast(Any, rows), FIRST)
    failed = [(one.point, one.limits is None, one.error_percent) for one in review.failures]
    assert failed == [
        ("far too much power", False, None),
        ("less than lower", True, None),
        ("cords", True, None),
    ]
