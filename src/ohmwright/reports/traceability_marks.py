"""What each value is traceable to, and the marks beside values where that differs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from string import ascii_lowercase

from ohmwright.model.result import Result, TraceabilityBasis, latest

from .run_parts import RunPart
from .text import NOT_RECORDED

OF_A_PART = "A figure in brackets beside a value: the part of the run that it was measured in."
"""What the figures that are marks say."""
NOT_TRACEABLE = {
    "none": "none: no analyzer certificate, so that neither verdict nor U holds how far the "
    "analyzer is off",
    "not covered": "none: no certificate of the analyzer says anything of this quantity, or of so "
    "large a current, so that how far the analyzer is off there is not known",
    "another instrument": "not known here: read from another instrument, and typed",
    "no scale": "not needed: no scale of the analyzer enters the value",
}
"""What is said of values that rest on no certificate."""


@dataclass(frozen=True)
class ValueMarks:
    """The mark of each result: a letter for its traceability, a figure for its part of the run."""

    bases: tuple[TraceabilityBasis, ...]
    """What values are traceable to, most frequent first; the first one has no letter."""
    resting_on: tuple[str, ...]
    """For each of `bases` the steps, or points, whose values rest on it, in words."""
    letters: dict[tuple[str, str, str], str]
    """By stage, step and point, as the figures are."""
    figures: dict[tuple[str, str, str], str]
    """Empty where only one part of the run has results."""

    def of(self, result: Result) -> str:
        """The letter and figure of a result; empty where it has neither."""
        return self.letter_of(result) + self.part_of(result)

    def letter_of(self, result: Result) -> str:
        """The letter of what a result is traceable to; empty for what most values share."""
        return self.letters.get(_key(result), "")

    def part_of(self, result: Result) -> str:
        """The number of the part of the run it was measured in; empty where there is only one."""
        return self.figures.get(_key(result), "")


def value_marks(parts: Sequence[RunPart]) -> ValueMarks:
    """The marks of every result of a run that counts: of a point measured again, the last one."""
    results = latest(result for part in parts for result in part.results)
    valued = [result for result in results if result.measured is not None]
    own = [r for r in valued if r.traceability != "another instrument"]
    valued = own or valued  # what was typed from elsewhere is named as such beside its step
    bases = tuple(basis for basis, _ in Counter(r.traceability for r in valued).most_common())
    letters = {_key(r): mark_letter(bases.index(r.traceability)) for r in valued}
    figures = {_key(r): str(part.number) for part in parts for r in part.results}
    resting_on = tuple(_where(valued, basis) for basis in bases)
    return ValueMarks(bases, resting_on, letters, figures if _several(parts) else {})


def _where(valued: Sequence[Result], basis: TraceabilityBasis) -> str:
    """The steps whose values rest on `basis`; of a step with others, too, the points."""
    named: dict[str, None] = {}
    for result in valued:
        if result.traceability == basis:
            alone = all(r.traceability == basis for r in valued if r.step == result.step)
            named[result.step if alone else f"{result.step} {result.point}"] = None
    return ", ".join(named)


def mark_letter(place: int) -> str:
    """Empty for place 0, which most values share; then a, b, c …"""
    return "" if place == 0 else ascii_lowercase[(place - 1) % len(ascii_lowercase)]


def traceability_text(basis: TraceabilityBasis) -> str:
    """What a value is traceable to, in words."""
    if basis is None:
        return NOT_RECORDED
    if isinstance(basis, str):
        return NOT_TRACEABLE[basis]
    serial = f" ({basis.serial_words})" if basis.serial_words else ""
    said = (
        f"certificate {basis.certificate}{serial}, {basis.laboratory}, calibrated "
        f"{basis.calibrated_on}, due {basis.due_on}"
    )
    return f"{said}, past due when used and accepted by the operator" if basis.expired else said


def _several(parts: Sequence[RunPart]) -> bool:
    """Whether more than one part has results."""
    return sum(bool(part.results) for part in parts) > 1


def _key(result: Result) -> tuple[str, str, str]:
    """Stage, step and point of a result, which name it within a run."""
    return result.stage, result.step, result.point


def mark_notes(marks: ValueMarks) -> Iterable[str]:
    """What the letters and figures beside values mean; nothing where there are none."""
    if len(marks.bases) > 1:
        yield (
            "A letter beside a value: what its U is traceable to, as listed under Analyzer, where "
            "that of values without a letter comes first."
        )
    if marks.figures:
        yield OF_A_PART
