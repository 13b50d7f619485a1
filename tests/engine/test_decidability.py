"""What a bench cannot decide is told with a figure that could, and that figure does."""

import re
from dataclasses import replace
from datetime import date
from functools import partial
from math import exp, sqrt

import numpy as np
import pytest

from ohmwright.engine.asked_current import question
from ohmwright.engine.decidability import (
    Shortfall,
    count_shortfall,
    needed_after_age_s,
    rest_shortfall,
    rule_and_digit_shortfalls,
    time_shortfall,
)
from ohmwright.engine.judge import judge
from ohmwright.engine.measured_value import Accuracy, linear_measured_value
from ohmwright.engine.point_measurement import is_decided
from ohmwright.engine.room import Room, narrowest_tolerance_ma, rounded_down, rounded_up
from ohmwright.engine.stop_rules import UntilDecided
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.model.analyzer_certificate import AnalyzerCertificate, CurrentRange, LoadAccuracy
from ohmwright.model.decision import Decision, FourToOne, GuardBand, SimpleAcceptance
from ohmwright.model.hardware import DroopData, GeneratorData, MeterData, Mode
from ohmwright.model.step import Point, Timing
from ohmwright.model.tolerance import Allowance, at_most, target_of

SIMPLE = SimpleAcceptance()
GUARDED = GuardBand(rule="guard band")
TODAY = date(2025, 9, 1)


def meter(digit_ma: float = 1.0, per_s: float = 10.0, window_s: float = 0.5) -> MeterData:
    return MeterData(
        max_current_ma=2000, resolution_ma=digit_ma, readings_per_s=per_s, window_s=window_s
    )


def point(tolerance_ma: float, rule: Decision = SIMPLE, target_ma: float = 500.0) -> Point:
    target = target_of("current_ma", target_ma, Allowance(absolute_ma=tolerance_ma))
    return Point(name="p", load_ohm=500, target=target, decision=rule)


def room(tolerance_ma: float, digit_ma: float = 1.0, **other: object) -> Room:
    return replace(Room(point(tolerance_ma), Timing(), meter(digit_ma), None), **other)


def certified(expanded_ma: float) -> Accuracy:
    """A certificate with this U at any current, k = 2, and without drift."""
    current = CurrentRange(
        up_to_ma=2000, percent=0, floor_ma=expanded_ma, resolution_ma=0.001, coverage_factor=2.0
    )
    return Accuracy(
        AnalyzerCertificate(
            number="x",
            laboratory="x",
            calibrated_on=TODAY,
            due_on=TODAY,
            current=(current,),
            load=LoadAccuracy(percent=0),
        ),
        TODAY,
    )


def generator(**data: object) -> GeneratorData:
    mode = Mode(name="cut", kind="cut", max_setting_w=300, rated_load_ohm=500)
    return GeneratorData.model_validate({"maker": "x", "model": "x", "modes": (mode,), **data})


def figure(shortfall: Shortfall, before: str, after: str = "") -> float:
    """The number that stands between these words."""
    found = re.search(rf"{re.escape(before)}([\d.]+){re.escape(after)}", shortfall.what)
    assert found is not None, shortfall.what
    return float(found.group(1))


def share_decided(tolerance_ma: float, digit_ma: float) -> float:
    """Share of outputs, anywhere in the inner half of a tolerance, that the stop rule decides."""
    rng, decided, count = np.random.default_rng(7), 0, 8
    timing, asked = Timing(max_on_s=16.0), point(tolerance_ma)
    for _ in range(count):
        settled = None
        final = partial(is_decided, point=asked, timing=timing, accuracy=None)
        rule = UntilDecided(question(asked, timing, meter(digit_ma)), ResidualWarmth(), final)
        output_ma, noise = 500.0 + rng.uniform(-0.5, 0.5) * tolerance_ma, 0.0
        for age_s in np.arange(rng.uniform(0, 0.1), 15.5, 0.1):
            noise = 0.5 * noise + 0.0013 * rng.normal()
            risen = max(0.0, 1 - exp(-max(age_s - 0.65, 0) / 0.6)) * (1 + noise)
            if rule.read(age_s, round(output_ma * risen / digit_ma) * digit_ma):
                break
        settled = rule.settled()
        assert settled is not None
        measured = linear_measured_value(settled, "current_ma", 500, timing, None)
        decided += settled.settled and judge(measured, asked.target)[0] == "pass"
    return decided / count


def test_a_digit_that_decides_is_not_told_of() -> None:
    assert list(rule_and_digit_shortfalls(room(8.0, 1.0))) == []


def test_a_digit_too_coarse_is_told_with_the_digit_and_the_tolerance_that_will_do() -> None:
    (told,) = rule_and_digit_shortfalls(room(4.0, 5.0))
    assert (told.cause, told.key, told.severity) == ("digit", "tolerance", "warning")
    digit_ma, tolerance_ma = figure(told, "a digit of "), figure(told, "a tolerance of ±", " mA")
    for enough in (room(4.0, digit_ma), room(tolerance_ma, 5.0)):
        assert enough.digit_decides
    for short in (room(4.0, 1.05 * digit_ma), room(0.95 * tolerance_ma, 5.0)):
        assert not short.digit_decides


def test_a_digit_is_a_rectangle_of_half_a_digit_to_either_side() -> None:
    """GUM (JCGM 100:2008) F.2.2.1: u = 0.29 digit; three of them leave half of the tolerance."""
    digit_ma = 2.0
    least_ma = 2 * 3 * 0.289 * digit_ma
    assert narrowest_tolerance_ma(meter(digit_ma)) == pytest.approx(least_ma, rel=0.002)
    assert room(1.01 * least_ma, digit_ma).digit_decides
    assert not room(0.99 * least_ma, digit_ma).digit_decides


def test_the_tolerance_that_is_told_is_one_that_the_stop_rule_decides() -> None:
    """And what is told of is what it does not: half of that tolerance, or the digit's own half."""
    (told,) = rule_and_digit_shortfalls(room(2.5, 5.0))
    enough_ma = figure(told, "a tolerance of ±", " mA")
    assert share_decided(enough_ma, 5.0) >= 0.85
    assert share_decided(2.5, 5.0) <= 0.3


def test_the_certificate_s_digit_counts_where_it_is_the_coarser() -> None:
    stated = certified(0.0)
    coarse = stated.certificate.current[0].model_copy(update={"resolution_ma": 5.0})
    certificate = stated.certificate.model_copy(update={"current": (coarse,)})
    (told,) = rule_and_digit_shortfalls(room(4.0, accuracy=Accuracy(certificate, TODAY)))
    assert "last digit of 5 mA" in told.what


@pytest.mark.parametrize(
    ("rule", "expanded_ma", "least_ma"),
    [
        # ILAC-G8:09/2019 4.2.2: w = U is taken off the tolerance; beside it the digit's 1.73
        (GUARDED, 4.0, 4.0 + 1.73),
        # ANSI/NCSL Z540.3 5.3 b (from memory): the tolerance must be four times U
        (FourToOne(rule="4:1"), 4.0, 16.0),
    ],
)
def test_a_rule_that_takes_the_whole_tolerance_is_told_with_one_that_leaves_some(
    rule: Decision, expanded_ma: float, least_ma: float
) -> None:
    known = certified(expanded_ma)
    narrow = room(3.9, accuracy=known, point=point(3.9, rule))
    (told,) = rule_and_digit_shortfalls(narrow)
    assert (told.cause, told.key) == ("decision rule", "tolerance")
    assert f"nothing passes, since the rule '{rule.rule}'" in told.what
    enough_ma = figure(told, "a tolerance of ±", " mA")
    assert enough_ma == pytest.approx(least_ma, rel=0.03)
    assert list(rule_and_digit_shortfalls(replace(narrow, point=point(enough_ma, rule)))) == []
    assert list(rest_shortfall(narrow, generator())) == []


def test_what_is_short_of_a_limit_is_told_as_a_limit_from_zero() -> None:
    leak = Point(name="p", load_ohm=200, target=at_most("current_ma", 3.0), decision=GUARDED)
    (told,) = rule_and_digit_shortfalls(room(1.0, accuracy=certified(4.0), point=leak))
    assert figure(told, "a limit of ", " mA") == pytest.approx(4.0 + 1.73, rel=0.03)
    assert "leaves nothing of 0 to 3 mA beside" in told.what
    simple = leak.model_copy(update={"decision": SIMPLE})
    (told,) = rule_and_digit_shortfalls(room(1.0, 2.0, point=simple))
    assert "only within 0 to 1.3 mA, where 0 to 3 mA are accepted" in told.what


def test_power_is_held_against_the_current_that_it_takes() -> None:
    """P = I² R: 2 % of the power are 1 % of the current."""
    target = target_of("power_w", 125.0, Allowance(percent=2.0))
    of_power = Point(name="p", load_ohm=500, target=target)
    assert room(1.0, point=of_power).room_ma == pytest.approx(5.0)


DROOP = DroopData(largest=0.03, tau_s=(6.0, 10.0), recovery_tau_s=(10.0, 20.0))


def test_a_rest_too_short_is_told_with_the_rest_that_will_do() -> None:
    short = room(5.0, timing=Timing(rest_s=4.0, max_on_s=40.0))
    (told,) = rest_shortfall(short, generator(droop=DROOP))
    assert (told.cause, told.key, told.severity) == ("rest", "rest_s", "warning")
    rest_s = figure(told, "; a rest of ", " s")

    def left_ma(after_s: float) -> float:
        """The largest error by which a unit's warmth at the age of 6 s differs from the usual."""
        most = (1 - exp(-40 / 6)) * exp(-after_s / 20) * exp(-6 / 10)
        usual = (1 - exp(-40 / 8)) * exp(-after_s / 15) * exp(-6 / 8)
        least = (1 - exp(-40 / 10)) * exp(-after_s / 10) * exp(-6 / 6)
        return 500 * 0.03 * max(most - usual, usual - least)

    assert 3 * left_ma(rest_s) / sqrt(3) <= 2.5 < 3 * left_ma(rest_s - 1) / sqrt(3)
    rested = replace(short, timing=Timing(rest_s=rest_s, max_on_s=40.0))
    assert list(rest_shortfall(rested, generator(droop=DROOP))) == []


def test_a_rest_short_for_a_usual_unit_is_a_note_where_no_droop_is_stated() -> None:
    timing = Timing(rest_s=4.0, max_on_s=40.0)
    (told,) = rest_shortfall(room(5.0, timing=timing), generator())
    assert (told.cause, told.key, told.severity) == ("recovery", "rest_s", "note")
    rest_s = figure(told, "; a rest of ", " s")
    timing = Timing(rest_s=rest_s, max_on_s=40.0)
    assert list(rest_shortfall(room(5.0, timing=timing), generator())) == []


def test_a_tolerance_that_no_rest_makes_decidable_is_said_to_be_so() -> None:
    slow = DroopData(largest=0.4, tau_s=(6.0, 10.0), recovery_tau_s=(10.0, 4000.0))
    (told,) = rest_shortfall(room(2.0), generator(droop=slow))
    assert "; no rest would do" in told.what


def test_an_activation_too_short_is_told_with_the_one_that_will_do() -> None:
    slow = meter(per_s=1.0, window_s=2.0)
    (told,) = time_shortfall(Timing(max_on_s=12.0), slow, 60.0)
    assert (told.cause, told.key) == ("time limit", "max_on_s")
    enough_s = figure(told, "; ", " s would do")
    assert list(time_shortfall(Timing(max_on_s=enough_s), slow, 60.0)) == []
    assert needed_after_age_s(slow) == 2.0 + 10 * 1.0 + 0.5
    assert list(time_shortfall(Timing(max_on_s=8.0), meter(), 60.0)) == []


def test_where_the_bench_allows_no_longer_activation_another_age_is_told() -> None:
    slow = meter(per_s=1.0, window_s=2.0)
    (told,) = time_shortfall(Timing(max_on_s=15.0), slow, 16.0)
    age_s = figure(told, "an age_s of ", " s")
    assert list(time_shortfall(Timing(age_s=age_s, max_on_s=16.0), slow, 16.0)) == []
    (told,) = time_shortfall(Timing(max_on_s=9.0), slow, 9.0)
    assert "a quicker meter, since 9 s is the most" in told.what


def test_a_count_larger_than_the_tolerance_is_told_with_one_that_holds_it() -> None:
    assert list(count_shortfall(room(5.0), 5.0)) == []
    (told,) = count_shortfall(room(5.0), 12.0)
    assert figure(told, "a tolerance of ±", " mA") == 12.0


@pytest.mark.parametrize(
    ("value", "down", "up"), [(8.66, 8.6, 8.7), (14.5, 14, 15), (0.5, 0.5, 0.5)]
)
def test_figures_are_rounded_to_the_side_that_will_do(value: float, down: float, up: float) -> None:
    assert (rounded_down(value), rounded_up(value)) == (down, up)
