"""What the uncertainties of a run hold, and what they lack for want of data, in a sentence each."""

from __future__ import annotations

from collections.abc import Iterable

from ohmwright.model.result import Measured, Result

from .text import NOT_RECORDED, printable


def uncertainty_text(results: Iterable[Result]) -> str:
    """The names of the lines of all budgets, and of the effects left out; empty without a value."""
    valued = [result.measured for result in results if result.measured is not None]
    held = dict.fromkeys(printable(line.source) for one in valued for line in one.budget)
    if not held:
        return ""
    return f"U holds: {', '.join(held)}. Left out of U, for want of data: {_left_out(valued)}."


def _left_out(valued: Iterable[Measured]) -> str:
    """The effects that every value lacks, then those that some of them lack."""
    said = [one.left_out for one in valued if one.left_out is not None]
    if not said:
        return NOT_RECORDED
    named = dict.fromkeys(name for names in said for name in names)
    everywhere = [name for name in named if all(name in names for names in said)]
    some = [name for name in named if name not in everywhere]
    parts = [", ".join(everywhere), f"of some values {', '.join(some)}" if some else ""]
    return printable("; ".join(filter(None, parts))) if named else "nothing"
