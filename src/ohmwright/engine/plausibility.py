"""What a procedure says that is allowed and hardly meant, from the procedure alone."""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.model.quantity import unit_of
from ohmwright.model.tolerance import Allowance, Target, sides

from .foresight import Foreseen
from .procedure_file import ProcedureFile
from .steps.base import Step, TimedStep

LONG_REST_S = 3600
"""A unit has long cooled by then; common practice, no source."""
_WHOLE_PERCENT = 100


def implausible(file: ProcedureFile) -> Iterator[Foreseen]:
    """Yield each thing that is hardly meant, with its place, in the order of the steps."""
    for step in file.procedure.step:
        if isinstance(step, TimedStep):
            for key, what in (*_of_tolerance(step), *_of_rest(file, step)):
                place = file.position(step.name, key)
                yield Foreseen("warning", *place, step.name, what)


def _of_tolerance(step: TimedStep) -> Iterator[tuple[str, str]]:
    """Yield that a tolerance is as wide as its target, or that a lower limit is below zero."""
    percent = _widest_percent(step)
    below = [point for point in step.judged_points() if _below_zero(point.target)]
    if percent >= _WHOLE_PERCENT:
        yield (
            "tolerance",
            f"a tolerance of {percent:g} percent is as wide as the target or wider; write the "
            "percent that the service manual states, as in percent = 5",
        )
    elif below:
        target = below[0].target
        unit = unit_of(target.quantity).symbol
        yield (
            "tolerance",
            f"{below[0].name}: the lower limit is {target.lower:g} {unit}, below zero, so that no "
            "output is too low; make the tolerance narrower than the target",
        )


def _widest_percent(step: Step) -> float:
    tolerance = getattr(step, "tolerance", None)
    if tolerance is None:
        return 0.0
    allowances: tuple[Allowance, Allowance] = sides(tolerance)
    return max(side.percent or 0.0 for side in allowances)


def _below_zero(target: Target) -> bool:
    """Whether a lower limit is below zero that is not the sign of having none (`at_most`)."""
    return target.one_sided and target.upper != target.value


def _of_rest(file: ProcedureFile, step: TimedStep) -> Iterator[tuple[str, str]]:
    rest_s = file.procedure.timing(step).rest_s
    if rest_s >= LONG_REST_S:
        yield (
            "rest_s",
            f"rest_s = {rest_s:g} is {rest_s / 3600:.3g} h before every activation; it is in "
            "seconds, and some minutes let a unit cool",
        )
