"""A simulated bench that runs procedures: what the fixture `ohmwright_bench` is."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TypeVar

import anyio

from ohmwright.api.bench_data import BenchData
from ohmwright.api.bench_use import BenchUse
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.instruments.bench import Bench
from ohmwright.model.errors import OhmwrightError
from ohmwright.model.event import Event
from ohmwright.model.step import STAGES, Stage, known_stages
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.truth import Truth
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink
from ohmwright.wire.paced_clock import PacedClock

from .mark import Mark
from .procedure_run import ProcedureRun
from .simulated_data import found_file, simulated_data

T = TypeVar("T")


@dataclass(repr=False)
class ProcedureBench:
    """A simulated bench for one test, with the hardware behind it."""

    bench: Bench
    """What the engine works with: analyzer, generator, operator, clock."""
    hardware: SimulatedBench
    folder: Path
    """Where relative names of procedures are looked for: the test's own folder."""
    root: Path
    """pytest's root folder, where they are looked for, too."""
    keep_in: Path
    """A folder for the record of a failing test."""
    faults: tuple[str, ...] = ()
    """The faults of the lines, as the mark of the test names them."""
    runs: list[list[Event]] = field(default_factory=list)
    """The events of each run so far."""
    use: BenchUse = field(default_factory=BenchUse)
    """One run at a time: of two each would take what the other switches for its own doing."""

    def __post_init__(self) -> None:
        self.use.is_open = True

    @classmethod
    def opened(cls, folder: Path, root: Path, keep_in: Path, mark: Mark) -> ProcedureBench:
        """Return a bench as the mark of a test describes it. Raises OhmwrightError."""
        data = simulated_data(folder, root, mark)
        clock = VirtualClock() if mark.virtual_time else PacedClock()
        hardware = simulated_bench(data, clock)
        bench = _assembled(data, hardware, clock)
        return cls(bench, hardware, folder, root, keep_in, mark.faults)

    def __repr__(self) -> str:
        return f"<{self.bench.name}, simulated unit {self.seed}>"

    @property
    def what_it_is(self) -> str:
        """What errors of the engine, which are as on a real bench, do not say: it is simulated."""
        faults = f", with the faults {', '.join(self.faults)}" if self.faults else ""
        return f"SIMULATED bench, unit {self.seed}{faults}: no RF but in the simulation."

    @property
    def truth(self) -> Truth:
        """What is really so: true currents, trims, when RF was on."""
        return self.hardware.truth

    @property
    def seed(self) -> int | None:
        """Which simulated unit it is."""
        return self.bench.seed

    def run(self, procedure: str | Path, stages: tuple[Stage, ...] = STAGES) -> ProcedureRun:
        """Run a procedure file to its end; a relative name is looked for beside the test.

        Raises ProcedureError with file, line and column where the file is wrong or asks what the
        bench cannot do, and the error that ended a run early.
        """
        __tracebackhide__ = True
        try:
            return _in_own_loop(partial(self._run, procedure, stages))
        except OhmwrightError as error:  # its frames say nothing of the test
            problem = self._explained(error)
        raise problem from None

    async def run_async(
        self, procedure: str | Path, stages: tuple[Stage, ...] = STAGES
    ) -> ProcedureRun:
        """Do the same in the test's own event loop."""
        __tracebackhide__ = True
        try:
            return await self._run(procedure, stages)
        except OhmwrightError as error:
            problem = self._explained(error)
        raise problem from None

    def _explained(self, error: OhmwrightError) -> OhmwrightError:
        """Return `error` without its frames, and with a note that the bench is simulated."""
        error.add_note(self.what_it_is)
        return error.with_traceback(None)

    async def _run(self, procedure: str | Path, stages: tuple[Stage, ...]) -> ProcedureRun:
        file = read_procedure(found_file(procedure, self.folder, self.root))
        chosen, events = known_stages(stages), list[Event]()
        with self.use.one_job():
            self.runs.append(events)
            async for event in run(Job(file, chosen, f"test-{len(self.runs)}"), self.bench):
                events.append(event)
        return ProcedureRun(tuple(events))

    def what_shows_rf(self) -> str:
        """Return what shows that RF is on, by the truth or as read back; empty where it is off.

        A line with a fault may not carry OFF, nor an answer: then the analyzer's own time limit has
        its time, and the truth alone counts.
        """
        if self.faults and isinstance(self.hardware.clock, VirtualClock):
            self.hardware.clock.advance(self.bench.analyzer.data.load_bank.max_on_s)
        if self.truth.rf_on:
            return "the simulated generator delivers"
        try:
            return _in_own_loop(self.bench.rf.evidence_on) or ""
        except OhmwrightError as problem:
            return "" if self.faults else f"it cannot be read back ({problem})"

    def report(self, test: str) -> str:
        """Return what a failing test has to say of its bench: points, record, how to replay it."""
        not_passed = [ProcedureRun(tuple(events)).not_passed() for events in self.runs]
        lines = [self.what_it_is, *not_passed]
        if any(self.runs):
            records = _quoted(str(self._kept_records()))
            lines.append(f"Record: ohmwright record show last --records {records}")
        return "\n".join([*filter(None, lines), self.how_to_replay(test)])

    def how_to_replay(self, test: str) -> str:
        """Return the command that runs the test again on the same simulated unit."""
        return f"Replay: python -m pytest {_quoted(test)} --ohmwright-seed {self.seed}"

    def _kept_records(self) -> Path:
        """Return the place of the runs' records, signed with a key of their own."""
        from ohmwright.records.sql_store import open_store

        place = self.keep_in / "ohmwright"
        key, witness = place / "operator.key", place / "witness"
        with open_store(str(place), key, witness) as store:
            for number, events in enumerate(self.runs, start=1):
                run_id = f"test-{number}"
                if events and run_id not in store.run_ids():
                    store.append_all(run_id, events)
        return place


def _assembled(data: BenchData, hardware: SimulatedBench, clock: VirtualClock) -> Bench:
    analyzer = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
    generator = None
    if data.file.generator.link is not None:
        generator = MemoryLink("simulated generator", hardware.generator_port, clock)
    person = SimulatedOperator(hardware.panel, clock)
    return assemble_bench(data, clock, analyzer, generator, person)


def _quoted(text: str) -> str:
    """Return `text` as one word of a shell, always in quotes."""
    return "'" + text.replace("'", "'\"'\"'") + "'"


def _in_own_loop(work: Callable[[], Awaitable[T]]) -> T:
    """Return what `work` returns, run in a thread of its own: the test's may have a loop."""

    async def awaited() -> T:
        return await work()

    with ThreadPoolExecutor(1) as thread:
        return thread.submit(anyio.run, awaited).result()
