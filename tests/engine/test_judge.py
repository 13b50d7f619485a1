"""Verdicts: the rule of the procedure, and the scatter of the readings."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from ohmwright.engine.judge import (
    conformity,
    is_final,
    judge,
    room_to_pass,
    scatter_half_width,
    stays_undecided,
)
from ohmwright.model.decision import (
    Decision,
    FalseAccept,
    FourToOne,
    GlobalRisk,
    GuardBand,
    SimpleAcceptance,
    SpecificRisk,
)
from ohmwright.model.result import BudgetEntry, Measured
from ohmwright.model.tolerance import Target, at_most

BAND = Target(quantity="power_w", value=100, lower=80, upper=120)
RULES: list[Decision] = [
    SimpleAcceptance(),
    GuardBand(rule="guard band"),
    SpecificRisk(rule="specific risk"),
    GlobalRisk(rule="global risk", in_tolerance_percent=90),
    FalseAccept(rule="2 % false accept"),
    FalseAccept(rule="2 % false accept", in_tolerance_percent=80),
    FourToOne(rule="4:1"),
]


def measured(value: float, a: float = 0.01, b: float = 0.0, dof: float = 1e6) -> Measured:
    u = math.hypot(a, b)
    return Measured(
        value=value,
        uncertainty=u,
        dof=dof if b == 0 else 1e6,
        age_s=6,
        expanded=2 * u,
        coverage_factor=2.0,
        budget=(
            BudgetEntry(source="readings", evaluation="A", standard_uncertainty=a, dof=dof),
            BudgetEntry(source="meter accuracy", evaluation="B", standard_uncertainty=b),
        ),
    )


@pytest.mark.parametrize(
    ("rule", "value", "b", "expected"),
    [
        (RULES[0], 119.9, 5.0, "pass"),
        (RULES[0], 120.1, 5.0, "fail"),
        (RULES[1], 109.9, 5.0, "pass"),
        (RULES[1], 110.1, 5.0, "undecided"),
        (RULES[1], 129.9, 5.0, "undecided"),
        (RULES[1], 130.1, 5.0, "fail"),
        (GuardBand(rule="guard band", multiple=0.5), 114.9, 5.0, "pass"),
        (RULES[2], 110.0, 5.0, "pass"),
        (RULES[2], 110.5, 5.0, "undecided"),
        (RULES[3], 119.9, 2.0, "pass"),
        (RULES[3], 119.9, 8.0, "undecided"),
        (RULES[4], 119.9, 2.0, "pass"),
        (RULES[4], 119.0, 5.0, "undecided"),
        (RULES[5], 117.8, 5.0, "pass"),
        (RULES[5], 118.0, 5.0, "undecided"),
        (RULES[6], 119.9, 2.49, "pass"),
        (RULES[6], 119.9, 2.51, "undecided"),
        (RULES[6], 120.1, 2.51, "fail"),
    ],
)
def test_each_rule_by_its_name(rule: Decision, value: float, b: float, expected: str) -> None:
    assert judge(measured(value, b=b), BAND, rule)[0] == expected


@given(st.floats(60.0, 140.0), st.floats(0.1, 4.0), st.floats(2.0, 40.0))
def test_simple_acceptance_waits_for_the_scatter(value: float, u: float, dof: float) -> None:
    verdict, _ = judge(measured(value, a=u, dof=dof), BAND)
    t = stats.t(dof)
    above_lower, below_upper = t.cdf((value - 80) / u), t.cdf((120 - value) / u)
    if min(above_lower, below_upper) > 0.951:
        assert verdict == "pass"
    elif max(1 - above_lower, 1 - below_upper) > 0.951:
        assert verdict == "fail"
    elif 0.051 < min(above_lower, below_upper) < 0.949:
        assert verdict == "undecided"


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.rule)
@given(st.floats(40.0, 160.0), st.floats(0.01, 6.0), st.floats(0.0, 8.0))
def test_no_rule_is_laxer_than_the_scatter(
    rule: Decision, value: float, a: float, b: float
) -> None:
    verdict, reason = judge(measured(value, a=a, b=b), BAND, rule)
    if verdict == "pass":
        assert 80 + 1.64 * a <= value <= 120 - 1.64 * a
    elif verdict == "fail":
        assert value > 120 + 1.64 * a or value < 80 - 1.64 * a
    assert (reason == "") == (verdict == "pass")


def test_what_was_extrapolated_is_in_doubt_like_scatter() -> None:
    """119 is 1 below the limit, and what was not seen may be off by 2 either way."""
    near = measured(119.0, a=0.01, b=2.0)
    seen, meter = near.budget
    unseen = meter.model_copy(update={"source": "extrapolation"})
    assert judge(near, BAND)[0] == "pass"
    doubted = near.model_copy(update={"budget": (seen, unseen)})
    assert judge(doubted, BAND)[0] == "undecided"


def test_a_doubt_has_the_fewest_degrees_of_freedom_of_its_parts() -> None:
    """Would notice few readings taken for many, since what was extrapolated has no scatter."""
    seen = measured(100.0, a=1.0, dof=3.0)
    unseen = BudgetEntry(source="extrapolation", evaluation="B", standard_uncertainty=1.0)
    seen = seen.model_copy(update={"budget": (*seen.budget, unseen)})
    assert scatter_half_width(seen) == pytest.approx(math.sqrt(2) * stats.t.ppf(0.95, 3))


def test_the_room_to_pass_is_that_of_the_narrower_side() -> None:
    lopsided = Target(quantity="power_w", value=100, lower=95, upper=120)
    assert room_to_pass(measured(100.0), lopsided, SimpleAcceptance()) == pytest.approx(5.0)


def test_a_guard_band_wider_than_the_scatter_is_not_made_wider_by_it() -> None:
    # w = U = 2 hypot(a, b); the readings reach 1.645 a
    close = 120 - 2 * math.hypot(2.0, 2.0) - 0.01
    assert judge(measured(close, a=2.0, b=2.0), BAND, RULES[1])[0] == "pass"


def test_readings_help_against_scatter_and_not_against_the_meter() -> None:
    assert not stays_undecided(measured(119.9, a=2.0), BAND)
    assert not stays_undecided(measured(110.1, a=5.0, b=1.0), BAND, RULES[1])
    assert stays_undecided(measured(115.0, a=0.1, b=5.0), BAND, RULES[1])
    assert stays_undecided(measured(100.0, a=0.1, b=3.0), BAND, RULES[6])


def test_what_could_still_pass_once_the_scatter_is_gone_is_not_final() -> None:
    # w = U: 9.8 now, and 7.84 by the meter alone; the readings reach from 111.1, which would pass
    rule = GuardBand(rule="guard band")
    assert judge(measured(117.0, a=3.0, b=4.0), BAND, rule)[0] == "undecided"
    assert not is_final(measured(117.0, a=3.0, b=4.0), BAND, rule)
    assert is_final(measured(119.0, a=3.0, b=4.0), BAND, rule)


def test_a_limit_without_a_lower_side_has_no_ratio() -> None:
    held = conformity(measured(140.0, b=1.0), at_most("current_ma", 150.0))
    assert held is not None
    assert held.uncertainty_ratio is None
    assert (held.accept_from, held.accept_to) == (None, 150.0)
    assert judge(measured(0.0, b=1.0), at_most("current_ma", 150.0))[0] == "pass"


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.rule)
def test_the_record_says_rule_probability_ratio_and_limits(rule: Decision) -> None:
    held = conformity(measured(110.0, b=4.0), BAND, rule)
    assert held is not None
    assert held.rule
    assert held.probability == pytest.approx(stats.norm.cdf(10 / math.hypot(4, 0.01)), abs=1e-3)
    assert held.uncertainty_ratio == pytest.approx(2.5, rel=1e-4)
    assert 80 <= held.accept_from < held.accept_to <= 120
    knows_units = getattr(rule, "in_tolerance_percent", None) is not None
    assert (held.false_accept is not None) == knows_units


LOPSIDED = Target(quantity="power_w", value=100, lower=90, upper=120)


@pytest.mark.parametrize("rule", RULES, ids=lambda rule: rule.rule)
def test_a_rule_on_all_units_says_that_a_lopsided_tolerance_is_not_about_its_target(
    rule: Decision,
) -> None:
    held, lopsided = (conformity(measured(105.0), target, rule) for target in (BAND, LOPSIDED))
    assumed = "; units are taken to lie about the middle of the limits, which is not the target"
    says = isinstance(rule, GlobalRisk | FalseAccept)
    assert lopsided.rule == held.rule + (assumed if says else "")


@pytest.mark.parametrize("dof", [4.0, 12.0, 60.0])
def test_the_limits_of_a_specific_risk_are_those_that_its_verdict_turns_at(dof: float) -> None:
    """JCGM 106 8.3.2 (from memory) with Student's t: the quantile is scipy's."""
    rule = SpecificRisk(rule="specific risk", maximum_risk_percent=5)

    def of_meter_alone(value: float) -> Measured:
        line = BudgetEntry(source="meter accuracy", evaluation="B", standard_uncertainty=1.0)
        return Measured(value=value, uncertainty=1.0, dof=dof, age_s=6, budget=(line,))

    held = conformity(of_meter_alone(100.0), BAND, rule)
    assert held.accept_to == pytest.approx(120 - stats.t(dof).ppf(0.95), rel=1e-5)
    around = (held.accept_to - 1e-6, held.accept_to + 1e-6)
    verdicts = [judge(of_meter_alone(value), BAND, rule)[0] for value in around]
    assert verdicts == ["pass", "undecided"]


def test_nothing_is_compared_without_a_value_or_without_limits() -> None:
    assert conformity(None, BAND) is None
    assert conformity(measured(100.0), None) is None


@pytest.mark.parametrize(("extrapolated", "cause"), [(0.1, "scatter"), (3.0, "a longer rest")])
def test_the_reason_of_doubt_is_what_makes_most_of_it(extrapolated: float, cause: str) -> None:
    """40 of 51 points of warm units were put down to the scatter of readings that had none."""
    seen = measured(119.9, a=0.2)
    line = BudgetEntry(
        source="extrapolation", evaluation="B", standard_uncertainty=extrapolated, dof=None
    )
    seen = seen.model_copy(
        update={"uncertainty": math.hypot(0.2, extrapolated), "budget": (*seen.budget, line)}
    )
    verdict, reason = judge(seen, BAND)
    assert verdict == "undecided"
    assert cause in reason
