"""What `ohmwright checks` runs, and that a wrong value would show in it."""

import math
from collections.abc import Callable, Iterator

from ohmwright.installation.catalogue import all_checks
from ohmwright.installation.check import Check, Value


def checks() -> Iterator[Check]:
    for of_subject in all_checks().values():
        yield from of_subject


def test_agrees(check: Check, holds: Callable[[Check], None]) -> None:
    holds(check)


def test_a_wrong_value_does_not_agree() -> None:
    def agrees(expected: Value, got: Callable[[], Value]) -> bool:
        return Check("source", "clause", "what", expected, 0.1, got, "reference").outcome().agrees

    def fails() -> float:
        raise ZeroDivisionError

    assert agrees(1.0, lambda: 1.05)
    assert agrees("pass", lambda: "pass")
    assert not agrees(1.0, lambda: 1.2)
    assert not agrees(1.0, lambda: math.nan)
    assert not agrees(1.0, fails)
    assert not agrees("pass", lambda: "fail")
    assert not agrees("pass", fails)
