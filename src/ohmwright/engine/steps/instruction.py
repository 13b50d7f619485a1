"""The step kind `instruction`: a task that a person does before the procedure goes on."""

from __future__ import annotations

from collections.abc import AsyncIterator
from typing import Literal

from ohmwright.instruments.requests import Instruct
from ohmwright.model.event import Event

from .base import PersonStep, StepRun


class InstructionStep(PersonStep):
    """A task that a person must do before the procedure goes on."""

    kind: Literal["instruction"]
    text: str

    def point_names(self) -> tuple[str, ...]:
        """Return no names: that it was done is on record as an answer and not as a result."""
        return ()

    def words_asked(self) -> str:
        """Return the task."""
        return self.text

    async def run(self, work: StepRun) -> AsyncIterator[Event]:
        """Wait until the person says that it is done; yields no event of its own."""
        await work.session.bench.operator.carry_out(Instruct(self.text, rf_follows=work.rf_follows))
        no_result: tuple[Event, ...] = ()
        for event in no_result:
            yield event
