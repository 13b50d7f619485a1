"""What the uncertainties of a run hold, and what they lack for want of data, in a sentence each."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from ohmwright.engine.measured_value import ESTIMATED, LOAD, METER, READINGS
from ohmwright.estimation.prior import NoisePrior
from ohmwright.model.result import Result

from .text import NOT_RECORDED, printable


def uncertainty_text(results: Sequence[Result]) -> str:
    """The names of the lines of all budgets, which go together, and what they leave out.

    Empty without a value.
    """
    held = ", ".join(_held(results))
    said = (
        f"U holds: {held}.",
        readings_dof_text(results),
        correlation_text(results),
        left_out_text(results),
    )
    return printable(" ".join(filter(None, said))) if held else ""


def readings_dof_text(results: Iterable[Result]) -> str:
    """How many degrees of freedom fitted readings have; empty where no value on record has them."""
    if not any(map(_has_prior_in_dof, results)):
        return ""
    return (
        f"Of a value fitted to readings, '{READINGS}' and '{ESTIMATED}' are of one scatter and "
        "count as one part of U (GUM G.4.1), with as many degrees of freedom as readings count, "
        f"and {NoisePrior.dof:g} more for each activation, of the prior of their noise."
    )


def _has_prior_in_dof(result: Result) -> bool:
    """Whether the degrees of freedom of a result's readings are their number and the prior's."""
    fitted = len(result.samples) + NoisePrior.dof
    budget = () if result.measured is None else result.measured.budget
    return any(line.source == READINGS and line.dof == fitted for line in budget)


def correlation_text(results: Iterable[Result]) -> str:
    """Which lines of budgets have errors that go together, and how far; empty where none have."""
    stated = (r.measured.correlation for r in results if r.measured is not None)
    found = " or ".join(f"{one:g}" for one in dict.fromkeys(stated) if one is not None)
    if not found:
        return ""
    return (
        f"The errors of {METER} and {LOAD} go together, with a correlation coefficient of {found} "
        "by the analyzer's certificate."
    )


def left_out_text(results: Sequence[Result]) -> str:
    """The names of the effects that budgets leave out; empty without a value."""
    held = _held(results)
    if not held:
        return ""
    stated = [r.measured.left_out for r in results if r.measured is not None]
    left_out = [names for names in stated if names is not None]
    lacking = dict.fromkeys(name for names in left_out for name in names)
    named = [f"{name} (of some values)" if name in held else name for name in lacking]
    said = ", ".join(named) or ("nothing" if left_out else NOT_RECORDED)
    return printable(f"Left out of U, for want of data: {said}.")


def _held(results: Iterable[Result]) -> tuple[str, ...]:
    """The names of all lines of budgets, each once."""
    budgets = [result.measured.budget for result in results if result.measured is not None]
    return tuple(dict.fromkeys(line.source for budget in budgets for line in budget))
