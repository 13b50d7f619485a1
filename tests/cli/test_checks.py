"""The table of published checks, as a person and as a program read it."""

from collections.abc import Callable

import pytest

from ohmwright.cli import checks_command
from ohmwright.published.catalogue import all_checks
from ohmwright.published.checks import Check

WRONG = Check("Some standard", "clause 4", "mass, kg", 1.0, 0.1, lambda: 1.25, "published")
NOTHING = Check(
    "Some standard", "clause 5", "length, m", 1.0, 0.1, lambda: float("nan"), "reference"
)


def test_every_check_is_listed_with_expected_and_got(ohmwright: Callable) -> None:
    outcome = ohmwright("checks", "--json")
    assert outcome.code == 0
    assert len(outcome.json) == len(all_checks())
    assert all(row["agrees"] for row in outcome.json)
    u = next(r for r in outcome.json if r["source"].startswith("GUM") and r["expected"] == 2.92)
    assert abs(u["got"] - 2.92) <= u["tolerance"]


def test_a_source_can_be_chosen_and_fits_a_terminal(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    outcome = ohmwright("checks", "--source", "ilac")
    assert outcome.code == 0
    assert "ILAC-G8:09/2019" in outcome.out
    assert "GUM" not in outcome.out
    assert "7 checks from 1 source: all agree." in outcome.out
    assert max(map(len, outcome.out.splitlines())) <= 80


def test_a_source_nobody_has_names_those_there_are(ohmwright: Callable) -> None:
    outcome = ohmwright("checks", "--source", "almanac")
    assert outcome.code == 2
    assert "No check is from 'almanac'." in outcome.err
    assert "JCGM 106" in outcome.err


def test_a_value_that_differs_ends_in_1(
    ohmwright: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(checks_command, "all_checks", lambda: (WRONG, NOTHING))
    outcome = ohmwright("checks")
    assert outcome.code == 1
    assert "DIFFERS" in outcome.out
    assert "2 checks from 1 source: 2 DIFFER." in outcome.out
    assert ohmwright("checks", "--json").json[1]["got"] is None
