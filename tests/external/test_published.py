"""Every published value, recomputed. The checks themselves are data in metrology/published."""

import pytest

from ohmwright.metrology.published.catalogue import all_checks
from ohmwright.metrology.published.checks import Check

CHECKS = all_checks()


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.name)
def test_agrees_with_the_published_value(check: Check) -> None:
    outcome = check.outcome()
    assert outcome.agrees, f"expected {check.expected} +- {check.tolerance}, got {outcome.got!r}"


def test_every_check_has_its_own_name() -> None:
    assert len({check.name for check in CHECKS}) == len(CHECKS)


def test_tolerances_are_tight_enough_to_mean_something() -> None:
    # A tolerance as wide as the value itself would pass a wrong formula.
    loose = [c.name for c in CHECKS if c.expected != 0.0 and c.tolerance > 0.05 * abs(c.expected)]
    assert loose == []
