"""The record of one check: a known value, and how ohmwright comes to it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Literal

Value = float | str
"""A number, or a verdict."""

# How the expected value is known:
#   published     the number or its data was seen in a text of the source
#   from memory   the source's number or inputs are recalled; the arithmetic was reproduced
#   reference     no document prints it: an independent library or exact arithmetic gave it
Status = Literal["published", "from memory", "reference"]


@dataclass(frozen=True, slots=True)
class Check:
    """One known value.

    `expected` and `tolerance` (absolute; 0 for a verdict) are in the unit that `what` names.
    Published examples round their intermediate values, so a tolerance is that of the print where
    the print is coarse.
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
        """Source, clause and quantity in one line; unique among the checks of a catalogue."""
        return f"{self.source}, {self.clause}: {self.what}"

    def result(self) -> CheckResult:
        """Compute the value and compare it; what raises counts as not there (nan)."""
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
    """What was raised instead of a value."""

    @property
    def agrees(self) -> bool:
        """Whether the value lies within the tolerance of the known one (nan never does)."""
        expected, got = self.check.expected, self.got
        if isinstance(expected, str) or isinstance(got, str):
            return got == expected
        return math.isfinite(got) and abs(got - expected) <= self.check.tolerance


KnownValue = tuple[str, Value, float, Callable[[], Value]]
"""What, expected, tolerance, and the function that computes it."""


def table(source: str, clause: str, status: Status, *rows: KnownValue) -> Iterator[Check]:
    """The checks of one clause of one source, all known in the same way."""
    for what, expected, tolerance, compute in rows:
        yield Check(source, clause, what, expected, tolerance, compute, status)
