"""A simulated bench in real time whose generator a person works: to learn and to show coaching."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import Job
from ohmwright.engine.steps.adjust import AdjustStep
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.model.shipped import shipped
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.panel import Panel
from ohmwright.wire.clock import RunningClock, VirtualClock
from ohmwright.wire.links.memory import MemoryLink

from .bench_data import BenchData, read_bench
from .open_bench import assemble_bench, simulated_bench

PersonOf = Callable[[Panel, RunningClock], Operator]
"""Makes who works the unit, given its front panel and the bench's clock."""


@dataclass(frozen=True)
class PracticeBench:
    """A bench to practise at; `hardware` has the unit's panel and the truth of what was done."""

    bench: Bench
    hardware: SimulatedBench
    clock: RunningClock


def open_practice_bench(seed: int, person: PersonOf) -> PracticeBench:
    """Return a bench with the invented unit `seed`, in real time, its keys worked by `person`.

    The analyzer answers by commands; the unit has no port. Nothing has to be closed.
    """
    data, clock = _bench_data(seed), RunningClock()
    hardware = simulated_bench(data, clock)
    analyzer = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
    bench = assemble_bench(data, clock, analyzer, None, person(hardware.panel, clock))
    return PracticeBench(bench, hardware, clock)


def same_unit_by_port(seed: int) -> tuple[Bench, SimulatedBench]:
    """Return a bench with the same unit, its trims moved by port, in virtual time."""
    data, clock = _bench_data(seed), VirtualClock()
    hardware = simulated_bench(data, clock)
    analyzer = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
    generator = MemoryLink("simulated generator", hardware.generator_port, clock)
    return assemble_bench(data, clock, analyzer, generator, AbsentOperator()), hardware


def practice_job(points: int) -> Job:
    """Return the adjustment of the shipped procedure's first `points` points; kept nowhere."""
    file = read_procedure(shipped("procedures", "demo-monopolar.toml"))
    steps = [step for step in file.procedure.step if isinstance(step, AdjustStep)][:points]
    procedure = file.procedure.model_copy(update={"step": tuple(steps)})
    return Job(replace(file, procedure=procedure), ("adjust",), "practice")


def _bench_data(seed: int) -> BenchData:
    return read_bench(shipped("benches", "demo.toml")).with_seed(seed)
