"""Every published value, recomputed. The checks themselves are data in ohmwright/published."""

import math

import pytest

from ohmwright.published.catalogue import all_checks
from ohmwright.published.checks import Check

CHECKS = all_checks()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_agrees_with_the_published_value(check: Check) -> None:
    outcome = check.outcome()
    assert outcome.agrees, f"expected {check.expected} +- {check.tolerance}, got {outcome.got!r}"


def test_every_check_has_its_own_name() -> None:
    assert len({check.name for check in CHECKS}) == len(CHECKS)


def test_tolerances_are_tight_enough_to_mean_something() -> None:
    # A tolerance as wide as the value itself would pass a wrong formula.
    loose = [c.name for c in CHECKS if c.expected != 0.0 and c.tolerance > 0.1 * abs(c.expected)]
    assert loose == []


@pytest.mark.parametrize(
    ("source", "clause"),
    [
        ("GUM", "H.1"),
        ("GUM", "H.2"),
        ("GUM", "H.3"),
        ("GUM", "table G.2"),
        ("GUM", "G.4.1"),
        ("JCGM 101", "9.2"),
        ("JCGM 101", "9.3"),
        ("JCGM 101", "9.4"),
        ("JCGM 106", "7.3"),
        ("JCGM 106", "8"),
        ("JCGM 106", "9.5"),
        ("ILAC-G8", ""),
        ("ANSI/NCSL Z540.3", ""),
        ("NIST StRD univariate", "Michelso"),
        ("NIST StRD regression", "Norris"),
        ("NIST StRD regression", "Longley"),
        ("NIST StRD regression", "SiRstv"),
        ("NIST/SEMATECH e-Handbook", "6.3.2.4 EWMA"),
        ("NIST/SEMATECH e-Handbook", "6.3.2.3 CUSUM"),
        ("Average run lengths", ""),
        ("NCSLI RP-1", "method A3"),
        ("Binomial", "Wilson"),
        ("Binomial", "Clopper-Pearson"),
        ("Waveforms", ""),
    ],
)
def test_every_document_is_covered(source: str, clause: str) -> None:
    assert any(c.source.startswith(source) and c.clause.startswith(clause) for c in CHECKS)


def test_there_are_at_least_sixty_published_examples() -> None:
    assert len({(check.source, check.clause) for check in CHECKS}) >= 60


def test_a_wrong_value_does_not_agree() -> None:
    wrong = Check("source", "clause", "what", 1.0, 0.1, lambda: 1.2, "reference")
    missing = Check("source", "clause", "what", 1.0, 0.1, lambda: math.nan, "reference")
    assert not wrong.outcome().agrees
    assert not missing.outcome().agrees
