"""Names as they are shown, and figures."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmwright.fleet.point_histories import PointLimits
from ohmwright.model.result import Conformity, Measured
from ohmwright.model.tolerance import Target, at_least, at_most
from ohmwright.reports.text import (
    fixed_decimals,
    limit_figures,
    limits_text,
    limits_words,
    printable,
    probability_text,
    uncertainty_ratio_text,
    value_and_uncertainty,
)


@given(st.text())
def test_no_character_acts_unseen(text: str) -> None:
    line = printable(text)
    assert line
    hidden = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
    assert not [c for c in line if unicodedata.category(c) in hidden and c not in "\u200c\u200d"]


@given(st.text(st.characters(categories=["L", "M", "N", "P", "S"]), min_size=1))
def test_letters_of_any_script_stay_as_they_are(text: str) -> None:
    assert printable(text) == text


def test_what_is_hidden_is_named() -> None:
    assert printable("abc\u202egnp") == "abc‹U+202E›gnp"
    assert printable("a\x00b\tc\r\nd") == "a‹U+0000›b c  d"
    assert printable("  ") == "not recorded"


@pytest.mark.parametrize(
    ("value", "expanded", "wanted"),
    [
        (92.36667, 1.60456, ("92.4", "1.6")),
        (1234.5, 37.2, ("1234", "37")),  # GUM 7.2.6: two digits of U, value to the same place
        (0.012345, 0.000996, ("0.0123", "0.0010")),
        (-3.25, None, ("−3.2", "")),
    ],
)
def test_uncertainty_has_two_digits(
    value: float, expanded: float | None, wanted: tuple[str, str]
) -> None:
    measured = Measured(value=value, uncertainty=1, dof=9, age_s=6, expanded=expanded)
    assert value_and_uncertainty(measured) == wanted


def test_limits_and_probabilities_are_not_rounded_to_certainty() -> None:
    assert limits_text(Target(quantity="power_w", value=81, lower=76, upper=86)) == "76.00 to 86.00"
    assert probability_text(Conformity(rule="", probability=0.99999)) == "> 99.9"
    assert probability_text(Conformity(rule="", probability=0.0)) == "< 0.1"
    assert probability_text(Conformity(rule="", probability=0.95)) == "95.0"


def test_limits_are_rounded_to_the_inside_and_are_the_same_everywhere() -> None:
    target = Target(quantity="power_w", value=154, lower=144.64, upper=163.35)
    assert limits_text(target) == "144.7 to 163.3"
    assert limits_words(target) == "144.7 to 163.3 W"
    assert limits_words(at_most("power_w", 9.9996)) == "at most 9.999 W"
    assert limits_words(at_least("power_w", 5.0001)) == "at least 5.001 W"
    assert limit_figures(target) == ("144.7", "154", "163.3")
    point = PointLimits("power_w", 154.0, 144.64, 163.35)
    assert limits_words(point.as_target) == "144.7 to 163.3 W"
    by_sum = Target(quantity="power_w", value=0.3, lower=0.1 + 0.2 - 0.1, upper=0.1 + 0.2)
    assert limits_text(by_sum) == "0.2000 to 0.3000"


@pytest.mark.parametrize(
    ("ratio", "shown"), [(3.99, "3.9"), (4.0, "4.0"), (10.96, "10"), (None, "")]
)
def test_a_ratio_is_never_shown_as_more_than_it_is(ratio: float | None, shown: str) -> None:
    """It is held against 4."""
    held = Conformity(rule="4:1", probability=0.99, uncertainty_ratio=ratio)
    assert uncertainty_ratio_text(held) == shown


def test_what_rounds_to_zero_has_no_sign() -> None:
    assert [fixed_decimals(value, 1) for value in (-0.04, 0.04, -0.06)] == ["0.0", "0.0", "−0.1"]
