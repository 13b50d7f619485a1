"""Simulated benches for whole runs, with the hardware at hand for its ground truth."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import anyio
import pytest

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_file import Simulation
from ohmwright.model.event import Event
from ohmwright.model.hardware import Averaging
from ohmwright.model.result import Result
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES, Stage
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

SOME_POINTS = Path(__file__).parent / "data/some-points.toml"
"""Takes a quarter of the time of the shipped job as found."""
NOT_A_NUMBER = 9e37
"""SCPI says 9.91e37 where the meter has nothing to show."""


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@dataclass(frozen=True)
class Rig:
    """An open simulated bench and the hardware behind it."""

    bench: Bench
    hardware: SimulatedBench

    async def run(self, procedure: Path, stages: tuple[Stage, ...] = STAGES) -> list[Event]:
        job = Job(read_procedure(procedure), stages, "test")
        return [event async for event in run(job, self.bench)]


@dataclass(frozen=True)
class MeterKind:
    """Another meter in the bench's analyzer; `query_s`: how long the analyzer takes to answer."""

    readings_per_s: float
    window_s: float
    numbered: bool = True
    query_s: float = 0.0
    resolution_ma: float = 1.0
    averages_by: Averaging = "mean"

    def built_into(self, data: BenchData) -> BenchData:
        """The bench with this meter, in its data, its command set and the simulated hardware."""
        keys = ("readings_per_s", "window_s", "resolution_ma", "averages_by")
        meter = data.analyzer.meter.model_copy(update={key: getattr(self, key) for key in keys})
        analyzer = data.analyzer.model_copy(update={"meter": meter})
        assert data.profiles is not None
        profile = data.profiles.analyzer.model_copy(update={"data": analyzer})
        commands = data.analyzer_commands
        assert commands is not None
        if not self.numbered:
            commands = commands.model_copy(update={"reading": ("value", "unit")})
        return replace(
            data,
            analyzer=analyzer,
            analyzer_commands=commands,
            profiles=data.profiles._replace(analyzer=profile),
        )

    def answering(
        self, handle: Callable[[bytes], bytes], clock: VirtualClock
    ) -> Callable[[bytes], bytes]:
        """`handle`, its answer on the way for half of `query_s`; the reading's number left out."""

        def answer(line: bytes) -> bytes:
            clock.advance(self.query_s / 2)
            reply = handle(line)
            clock.advance(self.query_s / 2)
            if self.numbered or not line.startswith((b"FETCh:CURRent", b"FETCh:LEAKage")):
                return reply
            return reply.rsplit(b",", 1)[0] + b"\n"

        return answer


@pytest.fixture(scope="session")
def make_rig() -> Callable[..., Rig]:
    def make(
        seed: int = 3,
        age_months: float = 48.0,
        bench: str = "demo",
        yield_every: int = 16,
        attended: bool = False,
        meter: MeterKind | None = None,
        droop: float | None = None,
    ) -> Rig:
        data: BenchData = read_bench(shipped("benches", f"{bench}.toml"))
        simulation = Simulation(seed=seed, age_months=age_months)
        data = replace(data, file=data.file.model_copy(update={"simulation": simulation}))
        data = data if meter is None else meter.built_into(data)
        data = data if droop is None else _drooping(data, droop)
        clock = VirtualClock(yield_every=yield_every)
        hardware = simulated_bench(data, clock)
        port: Callable[[bytes], bytes] = hardware.analyzer_port
        port = port if meter is None else meter.answering(port, clock)
        analyzer = MemoryLink("analyzer", port, clock)
        generator = MemoryLink("generator", hardware.generator_port, clock)
        has_port = data.file.generator.link is not None
        person = SimulatedOperator(hardware.panel, clock) if attended else AbsentOperator()
        return Rig(
            assemble_bench(data, clock, analyzer, generator if has_port else None, person), hardware
        )

    return make


@pytest.fixture(scope="session")
def whole_job(make_rig: Callable[..., Rig]) -> tuple[Rig, tuple[Event, ...]]:
    """The shipped job on the demo unit, done once, for tests that only look at it."""
    rig = make_rig()
    return rig, tuple(anyio.run(rig.run, shipped("procedures", "demo-monopolar.toml")))


def _drooping(data: BenchData, droop: float) -> BenchData:
    """The bench with units that lose this share of their output as they warm."""
    assert data.profiles is not None
    generator = data.profiles.generator
    response = generator.physics.response.model_copy(update={"droop": (droop, droop)})
    physics = generator.physics.model_copy(update={"response": response})
    profile = generator.model_copy(update={"physics": physics})
    return replace(data, profiles=data.profiles._replace(generator=profile))


@pytest.fixture(scope="session")
def as_found(make_rig: Callable[..., Rig]) -> Callable[[int], tuple[Rig, tuple[Result, ...]]]:
    """The shipped job as found on the unit of a seed, each done once, for tests that only look."""

    @cache
    def found(seed: int) -> tuple[Rig, tuple[Result, ...]]:
        rig = make_rig(seed=seed)
        procedure = shipped("procedures", "demo-monopolar.toml")
        return rig, tuple(results(anyio.run(rig.run, procedure, ("as_found",))))

    return found


@pytest.fixture
def in_ampere() -> Callable[[Any], None]:
    """Has an analyzer answer in A where its command set says mA."""

    def spoil(analyzer: Any) -> None:
        link = analyzer.dialogue.framing.link
        handle: Callable[[bytes], bytes] = link._handle

        def answer(line: bytes) -> bytes:
            reply = handle(line)
            value, _, rest = reply.partition(b",")
            if line.strip() != b"FETCh:CURRent?" or float(value) > NOT_A_NUMBER:
                return reply
            return b"%+.8E,%s" % (float(value) / 1000, rest)

        link._handle = answer

    return spoil
