"""Checks, before anything is switched on, that a bench can do what a procedure asks."""

from __future__ import annotations

from collections.abc import Iterator

from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import ProcedureError
from ohmwright.model.step import Stage

from .procedure_file import ProcedureFile
from .requirements import Abilities, abilities_of


def refuse_impossible(file: ProcedureFile, stages: tuple[Stage, ...], bench: Bench) -> None:
    """Raise ProcedureError, one line for each thing that `bench` cannot do of `stages`."""
    lines = list(complaints(file, stages, abilities_of(bench)))
    if lines:
        raise ProcedureError(
            "\n".join(lines), "Nothing was switched on.", "Correct the procedure or change bench."
        )


def complaints(file: ProcedureFile, stages: tuple[Stage, ...], bench: Abilities) -> Iterator[str]:
    """Yield `file:line:column: what` for each thing that the bench cannot do of `stages`."""
    procedure = file.procedure
    if procedure.model != bench.generator.model:
        line, column = file.positions[("model",)]
        yield (
            f"{file.path}:{line}:{column}: the procedure is for {procedure.model}, "
            f"the bench holds {bench.generator.model}."
        )
    for step in procedure.step:
        if set(step.stages) & set(stages):
            found = step.complaints(bench, procedure.timing(step))
            for key, what in dict.fromkeys(found):
                yield f"{file.place(step.name, key)}: step '{step.name}': {what}."
