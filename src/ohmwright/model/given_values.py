"""Answers that a run is given in a file, instead of being asked for at the bench."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from .document import Document
from .step import Stage


@dataclass(frozen=True)
class GivenValue:
    """The answer for one step, as it stands in its file."""

    step: str
    stage: Stage | None
    """None for every stage that has the step."""
    text: str
    place: str
    """`file:line` for messages."""
    source: str
    """Name of the file."""


@dataclass(frozen=True)
class GivenValues:
    """All answers of a file, and the file itself."""

    values: tuple[GivenValue, ...] = ()
    document: Document | None = None

    def of(self, step: str, stage: Stage) -> GivenValue | None:
        """The answer for a step in a stage, one of that stage first; None where there is none."""
        fitting = [v for v in self.values if v.step == step and v.stage in (stage, None)]
        return min(fitting, key=lambda value: value.stage is None, default=None)

    def of_step(self, step: str, stages: Iterable[Stage]) -> tuple[GivenValue | None, ...]:
        """The answer for a step in each of `stages`."""
        return tuple(self.of(step, stage) for stage in stages)


NOTHING_GIVEN = GivenValues()
