"""The practice bench: an invented unit whose front panel is on the page, in real time.

The person who learns is both the one at the bench and the hands at the unit. Nothing is kept of it.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from dataclasses import replace
from secrets import randbelow
from typing import Any, ClassVar

import anyio

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.debrief import Debrief
from ohmwright.api.practice import PracticeBench, by_practised_person, open_practice_bench
from ohmwright.engine.job import Job
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.model.bench_file import Asset, Simulation
from ohmwright.model.errors import UsageError
from ohmwright.model.event import Event
from ohmwright.model.shipped import shipped
from ohmwright.records.store import Store
from ohmwright.simulator.panel import Panel
from ohmwright.wire.clock import RunningClock, VirtualClock

from .orders import KeyPress, Turn

PRACTICE = "practice"
_UNITS = 10_000
_ASSET = Asset(id="PRACTICE", maker="Sorrelworks", model="Marlow 150", serial="invented")


class PracticeUnit:
    """A simulated bench with another unit at each run, worked at its panel on the page."""

    is_practice: ClassVar[bool] = True

    def __init__(
        self, seed: int | None = None, clock: Callable[[], VirtualClock] = RunningClock
    ) -> None:
        """`seed`: always this unit; `clock`: makes the clock of each run."""
        self._seed, self._clock = seed, clock
        self._lit_bench: PracticeBench | None = None
        self._debrief: Debrief | None = None
        self._data = self.read()

    def read(self) -> BenchData:
        """Return the bench with the next invented unit."""
        data = read_bench(shipped("benches", "attended.toml"))
        seed = randbelow(_UNITS) if self._seed is None else self._seed
        update = {
            "name": "Practice bench",
            "asset": _ASSET,
            "simulation": Simulation(seed=seed, age_months=30.0),
        }
        self._data = replace(data, file=data.file.model_copy(update=update))
        return self._data

    def opened(
        self,
        data: BenchData,
        person: Operator,
        *,
        unattended: bool,  # noqa: ARG002 - whoever practises is there
    ) -> AbstractAsyncContextManager[Bench]:
        """Open the simulated instruments; `person` is asked, and works the panel."""
        return self._opened(data, person)

    @asynccontextmanager
    async def _opened(self, data: BenchData, person: Operator) -> AsyncIterator[Bench]:
        self._debrief = None
        self._lit_bench = opened = open_practice_bench(data, self._clock(), lambda _: person)
        try:
            yield opened.bench
        finally:
            self._lit_bench, self._debrief = None, opened.debrief()

    async def finished(self, data: BenchData, job: Job) -> None:
        """Complete the debrief by what the same unit takes a practised person: computed."""
        told = self._debrief
        practised = await anyio.to_thread.run_sync(anyio.run, by_practised_person, data, job)
        if told is not None and told is self._debrief:  # nobody practises again by now
            self._debrief = told.model_copy(update={"practised": practised})

    def debrief(self) -> dict[str, Any] | None:
        """Return what the last practice came to; None before its end."""
        told = self._debrief
        return None if told is None else told.model_dump() | {"noticed": told.noticed}

    def panel(self) -> dict[str, Any]:
        """Return what the panel shows, and what can be chosen; a dark panel between runs."""
        generator = self._data.generator
        service = generator.service
        return {
            "face": None if self._lit_bench is None else self._lit().face._asdict(),
            "modes": [
                {"name": mode.name, "max_setting_w": mode.max_setting_w} for mode in generator.modes
            ],
            "points": [] if service is None else [point.name for point in service.points],
        }

    def press(self, press: KeyPress) -> None:
        """Press a key once. Raises UsageError where the unit refuses it."""
        self._lit().press(press.key, press.direction)

    def turn(self, turn: Turn) -> None:
        """Work another control. Raises UsageError where the unit refuses it."""
        panel = self._lit()
        match turn.control:
            case "set":
                panel.select(turn.mode, turn.setting_w)
            case "service":
                panel.service(on=True)
                panel.point(turn.point)
            case "save":
                panel.store()
            case "normal":
                panel.service(on=False)

    def _lit(self) -> Panel:
        if self._lit_bench is None:
            raise UsageError("The practice unit is off.", do="Begin a run of the practice bench.")
        return self._lit_bench.hardware.panel


class NothingKept(Store):
    """A store of a run of which nothing is kept."""

    def append(self, run_id: str, event: Event) -> None:
        """Forget the event."""

    def events(self, run_id: str) -> tuple[Event, ...]:
        """Raise UsageError."""
        raise UsageError(f"Nothing is kept of {run_id}.")

    def run_ids(self) -> tuple[str, ...]:
        """Return none."""
        return ()

    def voided_run_ids(self) -> frozenset[str]:
        """Return none."""
        return frozenset()

    def place(self, run_id: str) -> str:
        """Return that it is nowhere."""
        return f"nowhere: {run_id} was practised"
