"""What each value rests on, and the marks that tell values apart where they differ."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from string import ascii_lowercase
from typing import Literal

from ohmwright.model.result import Result
from ohmwright.model.traceability import Traceability

from .run_parts import RunPart
from .text import NOT_RECORDED

TraceabilityBasis = Traceability | Literal["none"] | None
NOT_TRACEABLE = "none: no analyzer certificate; U, P and TUR are of the readings alone"


@dataclass(frozen=True)
class ValueMarks:
    """A letter for what a value rests on unlike most, a figure for its part of several."""

    bases: tuple[TraceabilityBasis, ...]
    """What the values of the run rest on: first what most of them do, which has no letter."""
    letters: dict[tuple[str, str, str], str]
    figures: dict[tuple[str, str, str], str]

    def of(self, result: Result) -> str:
        """The mark of a result."""
        return self.letters.get(_key(result), "") + self.part_of(result)

    def part_of(self, result: Result) -> str:
        """The part of the run that it was measured in; empty where there is one only."""
        return self.figures.get(_key(result), "")


def value_marks(parts: Sequence[RunPart]) -> ValueMarks:
    """The marks of every result of a run."""
    valued = [r for part in parts for r in part.results if r.measured is not None]
    bases = tuple(basis for basis, _ in Counter(r.traceability for r in valued).most_common())
    letters = {_key(r): mark_letter(bases.index(r.traceability)) for r in valued}
    figures = {_key(r): str(part.number) for part in parts for r in part.results}
    return ValueMarks(bases, letters, figures if _several(parts) else {})


def mark_letter(place: int) -> str:
    """Nothing for the first, which most values share; then a, b, c …"""
    return "" if place == 0 else ascii_lowercase[(place - 1) % len(ascii_lowercase)]


def traceability_text(basis: TraceabilityBasis) -> str:
    """What a value is traceable to, in words."""
    if basis is None:
        return NOT_RECORDED
    if basis == "none":
        return NOT_TRACEABLE
    said = (
        f"certificate {basis.certificate}, {basis.laboratory}, calibrated {basis.calibrated_on}, "
        f"due {basis.due_on}"
    )
    return f"{said}, past due when used and accepted by the operator" if basis.expired else said


def _several(parts: Sequence[RunPart]) -> bool:
    return sum(bool(part.results) for part in parts) > 1


def _key(result: Result) -> tuple[str, str, str]:
    return result.stage, result.step, result.point
