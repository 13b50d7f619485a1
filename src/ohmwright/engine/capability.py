"""Checks, before anything is switched on, that a bench can do what a procedure asks."""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import ProcedureError
from ohmwright.model.given_values import NOTHING_GIVEN, GivenValues
from ohmwright.model.protections import Protections
from ohmwright.model.seen_text import seen_text
from ohmwright.model.step import Stage

from .procedure_file import ProcedureFile
from .requirements import Abilities, abilities_of
from .steps.base import TimedStep


def what_to_correct(*, attended: bool) -> str:
    """What to do about complaints."""
    without = "" if attended else "; with a person there leave out --unattended"
    return f"Correct what each line names, or use another bench{without}."


def refuse_impossible(
    file: ProcedureFile, stages: tuple[Stage, ...], bench: Bench, given: GivenValues = NOTHING_GIVEN
) -> None:
    """Raise ProcedureError, one line for each thing that `bench` cannot do of `stages`.

    `given`: answers that need not be asked for.
    """
    lines = list(complaints(file, stages, abilities_of(bench, given)))
    if lines:
        raise ProcedureError(
            "\n".join(lines),
            "Nothing was switched on.",
            what_to_correct(attended=bench.operator.present),
        )


def complaints(file: ProcedureFile, stages: tuple[Stage, ...], bench: Abilities) -> Iterator[str]:
    """Yield `file:line:column: what` for each thing that the bench cannot do of `stages`."""
    procedure = file.procedure
    if procedure.model != bench.generator.model:
        line, column = file.positions[("model",)]
        models = f"{procedure.model}, the bench holds {bench.generator.model}"
        yield f"{file.path}:{line}:{column}: the procedure is for {seen_text(models)}."
        return  # whatever else were said would be about another generator
    alone = None if bench.attended else bench.protections
    with_rf = _first_with_rf(file, stages)
    if alone is not None and with_rf is not None:
        if alone.grade != "unattended":
            yield f"{file.place(with_rf.name, 'kind')}: {not_left_alone(alone)}"
        if alone.foot_switch:
            return  # whatever else asks for a person is answered by that
    yield from _given_for_nothing(file, bench.given)
    for step in procedure.step:
        if set(step.stages) & set(stages):
            found = [
                *step.complaints(bench, procedure.timing(step)),
                *step.unanswered(bench, tuple(s for s in stages if s in step.stages)),
            ]
            for key, what in dict.fromkeys(found):
                yield f"{file.place(step.name, key)}: step '{step.name}': {what}."


def _given_for_nothing(file: ProcedureFile, given: GivenValues) -> Iterator[str]:
    """Yield each given value whose step is not in the procedure, or takes none."""
    takes = {step.name for step in file.procedure.step if step.takes_given_values}
    for one in given.values:
        if one.step not in takes:
            known = f"; those that do are {', '.join(sorted(takes))}" if takes else ""
            yield f"{one.place}: the procedure has no step '{one.step}' that takes a value{known}."


def _first_with_rf(file: ProcedureFile, stages: tuple[Stage, ...]) -> TimedStep | None:
    """Return the first step of `stages` with RF; None where none has."""
    steps = (one for one in file.procedure.step if isinstance(one, TimedStep))
    return next((one for one in steps if set(one.stages) & set(stages)), None)


def not_left_alone(bench: Protections) -> str:
    """Return why nobody may leave a bench while RF is on, with what would change that."""
    if bench.foot_switch:
        return (
            "a person keeps RF on at this bench with the foot switch, so that no run on it can be "
            "unattended."
        )
    lacking = "; ".join(f"{one.what} (by {one.remedy})" for one in bench.lacking_unattended())
    return f"nobody may leave this bench while RF is on. It lacks: {lacking}."
