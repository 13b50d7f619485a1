"""A whole is only as good as its worst point."""

import pytest

from ohmwright.model.result import Result, SweepValue, Verdict, asks_nothing, worst, worst_of


@pytest.mark.parametrize(
    ("verdicts", "whole"),
    [
        (["pass", "pass"], "pass"),
        (["pass", "undecided", "fail"], "fail"),
        (["pass", "undecided"], "undecided"),
        (["pass", "not measured"], "not measured"),
        (["undecided", "not measured"], "undecided"),
        ([], "not measured"),
    ],
)
def test_worst(verdicts: list[Verdict], whole: Verdict) -> None:
    assert worst(verdicts) == whole


def result(verdict: Verdict, sweep: SweepValue | None = None) -> Result:
    return Result(stage="as_found", step="s", point="p", kind="k", verdict=verdict, sweep=sweep)


SETTLED, UNSETTLED = SweepValue(repeat=1, settled=True), SweepValue(repeat=1)


def test_settled_values_without_limits_do_not_count_beside_others() -> None:
    assert worst_of([result("undecided", SETTLED), result("pass")]) == "pass"
    assert worst_of([result("undecided", UNSETTLED), result("pass")]) == "undecided"
    assert worst_of([result("not measured", SETTLED), result("pass")]) == "not measured"
    assert worst_of([result("undecided", SETTLED)]) == "undecided"


def test_what_asks_nothing_is_settled_values_alone() -> None:
    assert asks_nothing([result("undecided", SETTLED)])
    assert not asks_nothing([result("undecided", SETTLED), result("pass")])
    assert not asks_nothing([])
