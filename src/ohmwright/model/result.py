"""What a step found: values with their limits and one of four verdicts (rule 7)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal, NamedTuple

from .base import Noun
from .procedure import Stage
from .tolerance import Target

Verdict = Literal["pass", "fail", "undecided", "not measured"]
# the worst comes first: a run is only as good as its worst point
_SEVERITY: tuple[Verdict, ...] = ("fail", "undecided", "not measured", "pass")


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """The verdict of a whole: `not measured` when there is nothing."""
    return min(verdicts, key=_SEVERITY.index, default="not measured")


class Sample(NamedTuple):
    """One reading: age of the activation at the end of the meter's window, and the current."""

    age_s: float
    current_ma: float


class Measured(Noun):
    """A value with its standard uncertainty, in the unit of the target."""

    value: float
    uncertainty: float
    dof: float
    age_s: float
    """The age of the activation at which the value holds."""


class Result(Noun):
    """The outcome of one point of one step."""

    stage: Stage
    step: str
    point: str
    kind: str
    verdict: Verdict
    reason: str = ""
    load_ohm: float | None = None
    target: Target | None = None
    measured: Measured | None = None
    on_s: float = 0.0
    start_trim: int | None = None
    final_trim: int | None = None
    samples: tuple[Sample, ...] = ()

    @property
    def error(self) -> float | None:
        """Measured value less target, in the unit of the target."""
        if self.measured is None or self.target is None:
            return None
        return self.measured.value - self.target.value
