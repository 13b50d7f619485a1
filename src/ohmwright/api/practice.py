"""A simulated bench in real time whose generator a person works: to learn and to show coaching."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.steps.adjust import AdjustStep
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.model.shipped import shipped
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.panel import Panel
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

from .bench_data import BenchData, read_bench
from .debrief import Debrief, Effort, debrief
from .open_bench import assemble_bench, simulated_bench
from .overheard import OverheardOperator

PersonOf = Callable[[Panel], Operator]
"""Makes who works the unit, given its front panel."""


@dataclass(frozen=True)
class PracticeBench:
    """A bench to practise at; `hardware` has the unit's panel and the truth of what was done."""

    bench: Bench
    hardware: SimulatedBench
    person: OverheardOperator
    begun_s: float
    """When it was opened, by its clock."""

    def effort(self) -> Effort:
        """Return what it took so far."""
        truth = self.hardware.truth
        bench_s = self.bench.clock.now_s() - self.begun_s
        return Effort(presses=truth.presses, rf_on_s=truth.rf_on_s, bench_s=bench_s)

    def debrief(self) -> Debrief:
        """Return what it came to so far, each slip beside what the coach said of it."""
        heard, pressed = self.person, self.hardware.truth.pressed
        over_s, you = heard.over_s, self.effort()
        return debrief(heard.asked, heard.said, pressed, over_s, you, heard.untrue)


def open_practice_bench(data: BenchData, clock: VirtualClock, person: PersonOf) -> PracticeBench:
    """Return a bench with the invented unit of `data`, its keys worked by `person`.

    The analyzer answers by commands; the unit has no port. Nothing has to be closed.
    """
    hardware = simulated_bench(data, clock)
    analyzer = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
    overheard = OverheardOperator(person(hardware.panel), clock, lambda: hardware.panel.face)
    bench = assemble_bench(data, clock, analyzer, None, overheard)
    return PracticeBench(bench, hardware, overheard, clock.now_s())


async def by_practised_person(data: BenchData, job: Job) -> Effort:
    """Return what `job` takes a simulated person without slips on the same unit, computed."""
    clock = VirtualClock()
    opened = open_practice_bench(data, clock, lambda panel: SimulatedOperator(panel, clock))
    async for _ in run(job, opened.bench):
        pass
    return opened.effort()


async def by_port(data: BenchData, job: Job) -> Effort:
    """Return what `job` takes on the same unit with its trims moved by port, computed."""
    clock = VirtualClock()
    hardware = simulated_bench(data, clock)
    analyzer = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
    generator = MemoryLink("simulated generator", hardware.generator_port, clock)
    bench = assemble_bench(data, clock, analyzer, generator, AbsentOperator())
    async for _ in run(job, bench):
        pass
    truth = hardware.truth
    return Effort(presses=truth.presses, rf_on_s=truth.rf_on_s, bench_s=clock.now_s())


def practice_bench(seed: int) -> BenchData:
    """Return the shipped bench with the invented unit `seed`, whose unit can also be given a port.

    That is for `by_port`; `open_practice_bench` leaves the port unused.
    """
    return read_bench(shipped("benches", "demo.toml")).with_seed(seed)


def practice_job(points: int) -> Job:
    """Return the adjustment of the shipped procedure's first `points` points; kept nowhere."""
    file = read_procedure(shipped("procedures", "demo-monopolar.toml"))
    steps = [step for step in file.procedure.step if isinstance(step, AdjustStep)][:points]
    procedure = file.procedure.model_copy(update={"step": tuple(steps)})
    return Job(replace(file, procedure=procedure), ("adjust",), "practice")
