"""Simulated benches for whole runs, with the hardware at hand for its ground truth."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from ohmwright.cli.bench_data import BenchData, read_bench
from ohmwright.cli.open_bench import assemble_bench, simulated_bench
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import Job, run
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.model.bench_file import Simulation
from ohmwright.model.event import Event
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES, Stage
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink


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


@pytest.fixture
def make_rig() -> Callable[..., Rig]:
    def make(
        seed: int = 3,
        age_months: float = 48.0,
        bench: str = "demo",
        yield_every: int = 16,
        attended: bool = False,
    ) -> Rig:
        data: BenchData = read_bench(shipped("benches", f"{bench}.toml"))
        simulation = Simulation(seed=seed, age_months=age_months)
        data = replace(data, file=data.file.model_copy(update={"simulation": simulation}))
        clock = VirtualClock(yield_every=yield_every)
        hardware = simulated_bench(data, clock)
        analyzer = MemoryLink("analyzer", hardware.analyzer_port, clock)
        generator = MemoryLink("generator", hardware.generator_port, clock)
        has_port = data.file.generator.link is not None
        person = SimulatedOperator(hardware.panel, clock) if attended else AbsentOperator()
        return Rig(
            assemble_bench(data, clock, analyzer, generator if has_port else None, person), hardware
        )

    return make
