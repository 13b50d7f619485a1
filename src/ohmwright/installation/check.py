"""One check: a known value, its source, and the function by which ohmwright computes it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

Value = float | str
"""A number, or a verdict or other text."""

Status = Literal["published", "from memory", "reference"]
"""How the expected value is known.

"published": the number or its data was seen in a text of the source. "from memory": the source's
number or inputs are recalled, and the arithmetic was reproduced. "reference": no document prints
it; an independent library or exact arithmetic gave it.
"""


@dataclass(frozen=True, slots=True)
class Check:
    """A known value and the function that computes it.

    `expected` and `tolerance` (absolute; 0 for a verdict) are in the unit that `what` names. Where
    a publication gives rounded values, the tolerance allows for the rounding.
    """

    source: str
    clause: str
    what: str
    expected: Value
    tolerance: float
    compute: Callable[[], Value]
    status: Status

    @property
    def name(self) -> str:
        """Source, clause and quantity in one line; no other check has the same."""
        return f"{self.source}, {self.clause}: {self.what}"

    def result(self) -> CheckResult:
        """Compute the value; an exception gives nan, which never agrees, and its text."""
        try:
            got = self.compute()
        except Exception as problem:
            return CheckResult(self, math.nan, f"{type(problem).__name__}: {problem}")
        return CheckResult(self, got if isinstance(got, str) else float(got))


@dataclass(frozen=True, slots=True)
class CheckResult:
    """A check with the value that ohmwright computed."""

    check: Check
    got: Value
    problem: str = ""
    """Type and text of the exception that was raised, if any."""

    @property
    def agrees(self) -> bool:
        """Whether the value is within the tolerance of the known value; false for nan."""
        expected, got = self.check.expected, self.got
        if isinstance(expected, str) or isinstance(got, str):
            return got == expected
        return math.isfinite(got) and abs(got - expected) <= self.check.tolerance


KnownValue = tuple[str, Value, float, Callable[[], Value]]
"""Description with unit, expected value, tolerance, and the function that computes it."""


def clause_checks(source: str, clause: str, status: Status, *rows: KnownValue) -> Iterator[Check]:
    """Yield the checks of one clause of one source, which all have one status."""
    for what, expected, tolerance, compute in rows:
        yield Check(source, clause, what, expected, tolerance, compute, status)
