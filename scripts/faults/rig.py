"""A simulated bench whose lines can fail, whose pauses can be hooked and whose truth is known."""

from __future__ import annotations

from collections.abc import AsyncGenerator, Callable
from contextlib import suppress
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import ProcedureFile, read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.steps.base import TimedStep
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_file import Simulation
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.faults import Line
from ohmwright.simulator.faulty_port import FaultyPort
from ohmwright.simulator.identities import analyzer_identity, generator_identity
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

VIRTUAL_BOUND_S = 3600.0
"""A run that needs so much longer than the one without a fault hangs."""
_ON = b"OUTPut:STATe ON,"
HERE = Path(__file__).parent


class Hung(BaseException):
    """A run that does not come to its end."""


@dataclass(frozen=True)
class Case:
    """A procedure on a bench.

    `demo`, `attended`, `short` (every kind of step), `low` (outputs of 3 W), or `sweep`.
    """

    name: str
    seed: int

    @property
    def longest_s(self) -> float:
        """The longest limit that any ON of it may carry."""
        procedure = _procedure(self.name).procedure
        return max(procedure.timing(s).max_on_s for s in procedure.step if isinstance(s, TimedStep))


_PLACES = {
    "demo": ("demo", shipped("procedures", "demo-monopolar.toml")),
    "attended": ("attended", shipped("procedures", "attended-marlow.toml")),
    "short": ("demo", HERE / "short.toml"),
    "low": ("demo", HERE / "low.toml"),
    "sweep": ("demo", HERE / "sweep.toml"),
}


@cache
def _procedure(name: str) -> ProcedureFile:
    return read_procedure(_PLACES[name][1])


@cache
def _bench_data(name: str, seed: int) -> BenchData:
    data = read_bench(shipped("benches", f"{_PLACES[name][0]}.toml"))
    said = {
        "analyzer": analyzer_identity(data.analyzer, seed),
        "generator": generator_identity(data.generator, seed),
    }
    known = {
        name: getattr(data.file, name).model_copy(update={"identity": identity})
        for name, identity in said.items()
    }
    simulation = Simulation(seed=seed, age_months=36)
    return replace(data, file=data.file.model_copy(update={"simulation": simulation, **known}))


class HookedClock(VirtualClock):
    """Tells `on_pause` of every sleep, and ends what never ends."""

    def __init__(self, on_pause: Callable[[], None], yield_every: int) -> None:
        super().__init__(yield_every=yield_every)
        self._on_pause = on_pause
        self.bound_s = float("inf")

    async def sleep(self, duration_s: float) -> None:
        """Sleep, after whatever the hook does."""
        self._on_pause()
        if self.now_s() > self.bound_s:
            raise Hung
        await super().sleep(duration_s)

    def advance(self, duration_s: float) -> None:
        """Advance; a line that is silent for ever ends here."""
        if self.now_s() > self.bound_s:
            raise Hung
        super().advance(duration_s)


class PausingLink(MemoryLink):
    """Gives the event loop a turn before every write and read, as a real line does."""

    async def write(self, data: bytes) -> None:
        """Write, after a pause."""
        await self._clock.sleep(0)
        await super().write(data)

    async def read(self, timeout_s: float) -> bytes:
        """Read, after a pause."""
        await self._clock.sleep(0)
        return await super().read(timeout_s)


@dataclass
class Rig:
    """One run's bench, and what is known of it without asking its instruments."""

    case: Case
    bench: Bench
    clock: HookedClock
    hardware: SimulatedBench
    other: SimulatedBench
    lines: dict[Line, FaultyPort]
    said_ma: set[float] = field(default_factory=set)
    """Every value that the meter showed, as its port said it."""
    sent: list[tuple[float, float]] = field(default_factory=list)
    """When each ON was sent, and the limit that it was given, before any fault on its way."""

    def work(self) -> AsyncGenerator[Any, None]:
        """The run."""
        return run(Job(_procedure(self.case.name), STAGES, "faults"), self.bench)

    def overrun_s(self) -> float:
        """The most by which RF was on for longer than the ON before it was to allow."""
        now_s = self.clock.now_s()
        spans = (*self.hardware.truth.rf_on_intervals, *self.other.truth.rf_on_intervals)
        ended = ((start, now_s if end is None else end) for start, end in spans)
        return max((end - start - self._limit_s(start) for start, end in ended), default=0.0)

    def _limit_s(self, start_s: float) -> float:
        """The limit of the latest ON sent by then; before any, the longest of the procedure."""
        before = [limit_s for sent_s, limit_s in self.sent if sent_s <= start_s]
        return before[-1] if before else self.case.longest_s

    @property
    def rf_on(self) -> bool:
        """Whether RF is on anywhere."""
        return self.hardware.truth.rf_on or self.other.truth.rf_on


def made(
    case: Case,
    *,
    pausing: bool = False,
    on_pause: Callable[[], None] = lambda: None,
    on_message: Callable[[Line, bytes], None] | None = None,
) -> Rig:
    """A rig for `case`; `on_pause` is called at every pause, `on_message` before each message."""
    data = _bench_data(case.name, case.seed)
    clock = HookedClock(on_pause, 1 if pausing else 16)
    hardware = simulated_bench(data, clock)
    other = simulated_bench(_bench_data(case.name, case.seed + 1000), clock)
    said: set[float] = set()

    def analyzer(line: bytes) -> bytes:
        reply = hardware.analyzer_port(line)
        if reply and line.startswith((b"FETCh:CURR", b"FETCh:LEAK")):
            with suppress(ValueError):  # a line that two messages fell into has another reply
                said.add(float(reply.split(b",")[0]) * 1000.0)
        return reply

    sent: list[tuple[float, float]] = []
    lines: dict[Line, FaultyPort] = {
        "analyzer": FaultyPort(analyzer, other=other.analyzer_port, seed=case.seed),
        "generator": FaultyPort(
            hardware.generator_port, other=other.generator_port, seed=case.seed
        ),
    }

    def link(name: Line) -> MemoryLink:
        port = lines[name]

        def handle(line: bytes) -> bytes:
            if on_message is not None:
                on_message(name, line)
            if line.startswith(_ON):
                sent.append((clock.now_s(), float(line.removeprefix(_ON))))
            return port(line)

        return (PausingLink if pausing else MemoryLink)(name, handle, clock)

    has_port = data.file.generator.link is not None
    person = SimulatedOperator(hardware.panel, clock)
    bench = assemble_bench(
        data, clock, link("analyzer"), link("generator") if has_port else None, person
    )
    return Rig(case, bench, clock, hardware, other, lines, said, sent)
