"""What a desk works at: the bench of a file, opened anew for each run."""

from __future__ import annotations

from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from typing import Any, ClassVar, Protocol

from ohmwright.api.bench_data import BenchChoice, BenchData
from ohmwright.api.open_bench import open_bench
from ohmwright.engine.job import Job
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.model.errors import UsageError
from ohmwright.wire.paced_clock import PacedClock

from .orders import KeyPress, Turn


class BenchSource(Protocol):
    """Reads the files of a bench, and opens its instruments."""

    is_practice: ClassVar[bool]
    """Whether the unit is an invented one that is worked on the page."""

    def panel(self) -> dict[str, Any] | None:
        """Return what the unit's panel shows and lets be chosen; None where it is not here."""

    def press(self, press: KeyPress) -> None:
        """Press a key of the unit once. Raises UsageError where it is not here, or refuses it."""

    def turn(self, turn: Turn) -> None:
        """Work another control of the unit. Raises UsageError likewise."""

    def debrief(self) -> dict[str, Any] | None:
        """Return what the last practice came to; None where there was none."""

    async def finished(self, data: BenchData, job: Job) -> None:
        """Take that `job` was finished on the bench of `data`."""

    def read(self) -> BenchData:
        """Return the bench file with its data files. Raises SourceError, UsageError."""

    def opened(
        self, data: BenchData, person: Operator, *, unattended: bool
    ) -> AbstractAsyncContextManager[Bench]:
        """Open every instrument until the block ends. Raises SourceError, UsageError, LinkError."""


@dataclass(frozen=True)
class BenchOfFile:
    """A bench by its file; a simulated one in this process has a clock that can be followed."""

    is_practice: ClassVar[bool] = False

    def panel(self) -> dict[str, Any] | None:
        """Return None: the unit stands on the bench."""
        return None

    def press(self, press: KeyPress) -> None:  # noqa: ARG002
        """Raise UsageError: its keys are on the unit."""
        raise UsageError("The keys of this unit are on the unit itself.")

    def turn(self, turn: Turn) -> None:  # noqa: ARG002
        """Raise UsageError: its controls are on the unit."""
        raise UsageError("The controls of this unit are on the unit itself.")

    def debrief(self) -> dict[str, Any] | None:
        """Return None: nobody practises at it."""
        return None

    async def finished(self, data: BenchData, job: Job) -> None:
        """Do nothing: what it came to is on record."""

    choice: BenchChoice
    speed: float = 1.0
    """How many times as fast as the machine's own time a simulated bench's time passes."""

    def read(self) -> BenchData:
        """Return the bench file with its data files. Raises SourceError, UsageError."""
        return self.choice.read()

    def opened(
        self, data: BenchData, person: Operator, *, unattended: bool
    ) -> AbstractAsyncContextManager[Bench]:
        """Open every instrument; a simulated bench in this process has a simulated person."""
        return open_bench(
            data,
            unattended=unattended,
            guarded=self.choice.guarded,
            person=person,
            operator_name=person.name,
            clock=PacedClock(self.speed),
        )
