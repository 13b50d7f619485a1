"""Each module's `checks()` becomes one test a value.

A check is worth having when it enters a function that a job runs, or that the fleet's room holds,
and a plausible slip would show. Clauses from memory say so in their status.
"""

from collections.abc import Callable

import pytest

from ohmwright.installation.check import Check


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "check" not in metafunc.fixturenames:
        return
    checks = list(metafunc.module.checks())
    names = [check.name for check in checks]
    if len(set(names)) != len(names):
        raise ValueError(f"{metafunc.module.__name__}: two checks have one name")
    metafunc.parametrize("check", checks, ids=names)


@pytest.fixture
def holds() -> Callable[[Check], None]:
    """Asserts that a check agrees, by a tolerance that a wrong formula would not meet."""

    def assert_agrees(check: Check) -> None:
        outcome = check.result()
        known = f"{check.expected} +- {check.tolerance} ({check.status})"
        assert outcome.agrees, f"expected {known}, got {outcome.got!r} {outcome.problem}"
        if isinstance(check.expected, float | int) and check.expected != 0:
            assert check.tolerance <= 0.1 * abs(check.expected)

    return assert_agrees
