"""Reads procedure files, and keeps the place of each key, so that a refusal names its line."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from ohmwright.model.document import Document, document
from ohmwright.model.errors import ProcedureError
from ohmwright.model.positions import Path as KeyPath
from ohmwright.model.positions import Position, key_positions
from ohmwright.model.source import parse, read_text
from ohmwright.model.step import Stage

from .procedure import Procedure

AS_FOUND: Stage = "as_found"


@dataclass(frozen=True)
class ProcedureFile:
    """A validated procedure with its file, its text, and line and column of each key."""

    procedure: Procedure
    path: Path
    document: Document
    positions: dict[KeyPath, Position]

    @property
    def digest(self) -> str:
        """SHA-256 of the file's text, in hexadecimal."""
        return self.document.sha256

    def place(self, step_name: str, key: str) -> str:
        """Return `file:line:column` of `key` in a step; see `position`."""
        line, column = self.position(step_name, key)
        return f"{self.path}:{line}:{column}"

    def position(self, step_name: str, key: str) -> Position:
        """Return line and column of `key` in a step; where it lacks the key, of its default.

        Where that is not written either, of the step.
        """
        step: KeyPath = ("step", self._index[step_name])
        places: tuple[KeyPath, ...] = ((*step, key), ("defaults", key), step)
        return next(self.positions[place] for place in places if place in self.positions)

    @cached_property
    def _index(self) -> dict[str, int]:
        return {step.name: index for index, step in enumerate(self.procedure.step)}


def measured_once(file: ProcedureFile) -> ProcedureFile:
    """Return the procedure for a run that adjusts nothing: each measuring step is one as found.

    Such a run leaves the unit as it was found, so that the steps of both stages are measured once.
    """
    steps = tuple(
        step
        if "adjust" in step.stages
        else step.model_copy(update={"stages": (AS_FOUND, *_without(step.stages, AS_FOUND))})
        for step in file.procedure.step
    )
    return replace(file, procedure=file.procedure.model_copy(update={"step": steps}))


def _without(stages: tuple[Stage, ...], one: Stage) -> tuple[Stage, ...]:
    return tuple(stage for stage in stages if stage != one)


def read_procedure(path: Path) -> ProcedureFile:
    """Return the validated procedure of the file `path`.

    Raises ProcedureError with file, line, column and the nearest valid key.
    """
    text = read_text(path, ProcedureError)
    procedure = parse(path, text, Procedure, error=ProcedureError)
    return ProcedureFile(procedure, path, document("procedure", path, text), key_positions(text))
