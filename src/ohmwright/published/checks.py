"""The record of one check against a published value."""

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

# How sure the expected number is of its source:
#   published     the number or its data was seen in a stored text of the source
#   from memory   the source's printed number or inputs are recalled; reproduced by exact numerics
#   reference     no source prints it: an independent library or exact numerics gave it
Status = Literal["published", "from memory", "reference"]


@dataclass(frozen=True, slots=True)
class Check:
    """One published number, and how ohmwright comes to it.

    `expected` and `tolerance` (absolute) are in the unit that `what` names. Published examples
    round their intermediate values, so a tolerance is that of the print where the print is coarse.
    """

    source: str
    clause: str
    what: str
    expected: float
    tolerance: float
    compute: Callable[[], float]
    status: Status

    @property
    def name(self) -> str:
        """Source, clause and quantity in one line; unique among all checks."""
        return f"{self.source}, {self.clause}: {self.what}"

    def outcome(self) -> "Outcome":
        """Compute the value and compare it."""
        return Outcome(check=self, got=float(self.compute()))


@dataclass(frozen=True, slots=True)
class Source:
    """A document, and how its numbers are usually known; called, it makes one of its checks."""

    name: str
    usual_status: Status

    def __call__(
        self,
        clause: str,
        what: str,
        expected: float,
        tolerance: float,
        compute: Callable[[], float],
        status: Status | None = None,
    ) -> Check:
        """The check of one number, with the usual status where none is given."""
        known = self.usual_status if status is None else status
        return Check(self.name, clause, what, expected, tolerance, compute, known)


@dataclass(frozen=True, slots=True)
class Outcome:
    """A check with the value that ohmwright computed."""

    check: Check
    got: float

    @property
    def agrees(self) -> bool:
        """Whether the value lies within the tolerance of the published one (nan never does)."""
        return math.isfinite(self.got) and abs(self.got - self.check.expected) <= (
            self.check.tolerance
        )
