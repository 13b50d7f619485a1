"""Counts of hand-made outcomes: shares, costs, hardest points, paired differences."""

from dataclasses import replace

import pytest
from scipy.stats import beta, t

from ohmwright.model.errors import UsageError
from ohmwright.rehearsal.comparison import compared
from ohmwright.rehearsal.outcome import PointOutcome, StepCost, UnitOutcome
from ohmwright.rehearsal.summary import summary


def point(name: str, verdict: str = "pass", inside: bool | None = True, on_s: float = 5.0):
    return PointOutcome("as_left", "cut", name, verdict, on_s, inside, 0.1, 0.3)


def unit(number: int, verdict: str = "pass", *points: PointOutcome, bench_s: float = 60.0):
    costs = (StepCost("as_left", "cut", 40.0, 5.0), StepCost("as_left", "coag", bench_s - 40, 1.0))
    return UnitOutcome(
        number, 100 + number, verdict, "", bench_s, 6.0, 0.2, 0.5, 900.0, points, costs
    )


GOOD, BAD = point("a"), point("a", inside=False)
UNITS = [
    *(unit(n, "pass", GOOD, point("b", "pass", None, 9.0)) for n in range(7)),
    unit(7, "pass", BAD),  # false accept
    unit(8, "fail", point("a", "fail")),  # false reject
    unit(9, "undecided", GOOD, point("b", "undecided")),
]


def test_wrong_verdicts_are_counted_with_clopper_and_pearsons_limits():
    found = summary(UNITS, 10)
    assert (found.false_accept.count, found.false_reject.count) == (1, 1)
    # Clopper and Pearson 1934 by scipy's beta quantiles
    assert found.false_accept.lower == pytest.approx(beta.ppf(0.025, 1, 10))
    assert found.false_accept.upper == pytest.approx(beta.ppf(0.975, 2, 9))
    assert found.verdicts["undecided"].count == 1
    assert found.point_false_accept.of == 11  # those without a truth are left out
    assert found.not_judged == 1
    assert found.seeds == {
        "false accept": (107,),
        "false reject": (108,),
        "undecided": (109,),
        "cut short": (),
    }


def test_steps_are_in_order_of_their_cost_and_points_of_their_doubt():
    found = summary(UNITS, 10)
    assert [step.step for step in found.steps] == ["cut", "coag"]
    assert found.steps[0].share_of_time == pytest.approx(40 / 60)
    assert [(step.bench_s, step.on_s) for step in found.steps] == [(40.0, 5.0), (20.0, 1.0)]
    assert [(p.point, p.undecided.count, p.undecided.of) for p in found.points] == [
        ("b", 1, 8),
        ("a", 0, 10),
    ]


def test_a_unit_that_fails_at_a_point_without_a_known_truth_is_no_false_reject():
    known = point("a", "pass", inside=True)
    assert not unit(0, "fail", known, point("b", "fail", inside=None)).false_reject
    assert unit(0, "fail", known, point("b", "fail", inside=True)).false_reject


def test_a_fail_that_was_measured_again_hides_no_false_reject():
    found = replace(point("a", "fail", inside=None), stage="as_found")
    assert unit(0, "fail", found, point("a", "pass"), point("b", "fail")).false_reject


def test_a_unit_found_out_and_left_in_tolerance_is_no_false_reject():
    found, left = replace(BAD, stage="as_found", verdict="fail"), GOOD
    assert not unit(0, "pass", found, left).false_accept
    assert not unit(0, "fail", found, point("a", "fail", inside=False)).false_reject


def test_a_unit_that_passed_with_an_adjusted_point_out_is_a_false_accept():
    adjusted = replace(BAD, stage="adjust")
    assert unit(0, "pass", adjusted, GOOD).false_accept
    assert not unit(0, "pass", replace(adjusted, inside=True), GOOD).false_accept


def test_a_value_is_covered_where_its_uncertainty_reaches_the_truth_on_either_side():
    errors = ((0.3, 0.3), (-0.3, 0.3), (0.31, 0.3), (-0.31, 0.3), (0.1, None), (None, 0.3))
    points = [replace(GOOD, error=error, expanded=expanded) for error, expanded in errors]
    covered = summary([unit(0, "pass", *points)], 1).covered
    assert (covered.count, covered.of) == (2, 4)


def test_paired_differences_have_limits_that_cover():
    other = [replace(one, bench_s=one.bench_s - 10 + n) for n, one in enumerate(UNITS)]
    other[9] = replace(other[9], verdict="pass")
    found = {one.name: one for one in compared(UNITS, other)}
    times = found["bench_s"]
    reach = t.ppf(0.975, 9) * 3.0276503540974917 / 10**0.5  # sd of 0..9
    assert (times.first, times.second) == (pytest.approx(60.0), pytest.approx(54.5))
    assert times.difference == pytest.approx(-5.5)
    assert (times.lower, times.upper) == (
        pytest.approx(-5.5 - reach),
        pytest.approx(-5.5 + reach),
    )
    undecided = found["undecided"]
    assert undecided.difference == pytest.approx(-0.1)
    # each share at 97.5 %: none in ten, and one in ten
    none, one = beta.ppf(1 - 0.0125, 1, 10), beta.ppf(1 - 0.0125, 2, 9)
    assert undecided.lower == pytest.approx(0 - one)
    assert undecided.upper == pytest.approx(none - beta.ppf(0.0125, 1, 10))
    assert not undecided.clear
    assert (times.units_to_tell, found["cut short"].units_to_tell) == (10, None)
    assert undecided.units_to_tell is not None
    times_more = undecided.units_to_tell // len(UNITS)
    more = {n: compared(UNITS * n, other * n) for n in (times_more // 3, times_more)}
    clear = [{one.name: one.clear for one in found}["undecided"] for found in more.values()]
    assert clear == [False, True]
    with pytest.raises(UsageError, match=r"10, the first with seed 100, and 9, .* 101"):
        compared(UNITS, UNITS[1:])
