"""Open the instruments of a bench file; the only module that knows which bench is simulated."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, aclosing, asynccontextmanager
from functools import partial

from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.analyzer import Analyzer
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.generator import Generator
from ohmwright.instruments.hand_operated import HandOperatedGenerator
from ohmwright.instruments.hand_worked_analyzer import HandWorkedAnalyzer
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.instruments.remote_generator import RemoteGenerator
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.faulty_bench import FaultyBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.remote_clock import SteppedClock
from ohmwright.wire.clock import Clock, RealClock, VirtualClock
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.event_loop import refuse_other_event_loop
from ohmwright.wire.link import Link
from ohmwright.wire.links.memory import MemoryLink

from .bench_data import BenchData
from .open_back_ends import back_end_analyzer, back_end_generator
from .open_links import analyzer_link, generator_link, open_link
from .simulation_profiles import read_simulation_profiles


def simulated_bench(data: BenchData, clock: Clock) -> SimulatedBench:
    """Return the simulated hardware of a bench file, on `clock`.

    Raises SourceError where there is no [simulation] table, or a data file has no usable profile.
    """
    simulation = data.file.simulation
    if simulation is None:
        raise SourceError(
            f"{data.path}: the bench has no [simulation] table.", do="Add one with a seed."
        )
    profiles = data.profiles or read_simulation_profiles(data.analyzer_path, data.generator_path)
    build = partial(FaultyBench, faults=data.faults) if data.faults else SimulatedBench
    try:
        built = build(
            profiles.analyzer,
            profiles.generator,
            seed=simulation.seed,
            clock=clock,
            age_months=simulation.age_months,
        )
    except (ArithmeticError, ValueError, MemoryError) as problem:
        raise SourceError(
            f"{data.analyzer_path} and {data.generator_path} cannot be simulated: {problem}.",
            "A figure of their physics is out of all proportion.",
            "Correct it.",
        ) from None
    for move in data.trims_kept:
        built.panel.has_kept(move.point, move.counts, move.key)
    return built


@asynccontextmanager
async def open_bench(
    data: BenchData,
    *,
    unattended: bool,
    guarded: bool = True,
    person: Operator | None = None,
    operator_name: str = "",
    clock: VirtualClock | None = None,
) -> AsyncIterator[Bench]:
    """Open every instrument of a bench; close them all at the end of the block.

    `guarded`: whether a guard process owns the analyzer's port, which switches the output; only a
    bench with a [simulation] table may do without one. `unattended`: nobody answers requests;
    `person`: who answers them at a bench that is not simulated in this process, None for nobody;
    `clock`: of a bench that is, by default one that runs as fast as it is computed;
    `operator_name`: who started a run that nobody attends, or that a simulated person does.
    Raises SourceError, UsageError, LinkError.
    """
    refuse_other_event_loop()
    if not guarded and data.file.simulation is None and data.can_be_guarded:
        raise UsageError(
            f"{data.path}: a real bench is not worked without its guard.",
            "Nothing would send OFF if this program were killed. Nothing was switched on.",
            "Leave out --no-guard; it is for benches with a [simulation] table.",
        )
    async with AsyncExitStack() as stack:
        if data.file.in_process:
            clock = clock or VirtualClock()
            yield _simulated_bench(data, clock, operator_name, unattended=unattended)
        else:
            nobody = AbsentOperator(operator_name)
            operator = nobody if unattended or person is None else person
            yield await _real_bench(data, stack, operator, guarded=guarded)


def _simulated_bench(
    data: BenchData, clock: VirtualClock, operator_name: str, *, unattended: bool
) -> Bench:
    hardware = simulated_bench(data, clock)
    person = SimulatedOperator(hardware.panel, clock, hardware.front)
    if operator_name:
        person.name = f"{operator_name} (simulated)"
    analyzer = generator = None
    if data.file.analyzer.link is not None:
        analyzer = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
    if data.file.generator.link is not None:
        generator = MemoryLink("simulated generator", hardware.generator_port, clock)
    return assemble_bench(
        data, clock, analyzer, generator, AbsentOperator(operator_name) if unattended else person
    )


async def _real_bench(
    data: BenchData, stack: AsyncExitStack, operator: Operator, *, guarded: bool
) -> Bench:
    clock: Clock = RealClock()
    if data.file.stepped_time is not None:
        control = await open_link(data.file.stepped_time)
        clock = await SteppedClock.connect(await stack.enter_async_context(aclosing(control)))
    analyzer = await analyzer_link(data, stack, guarded=guarded)
    generator = await generator_link(data, stack)
    bench = _bench_of(
        data,
        clock,
        await back_end_analyzer(data, analyzer, clock, stack)
        or _remote_analyzer(data, clock, analyzer),
        await back_end_generator(data, generator, clock, stack)
        or _generator(data, clock, generator, operator),
        operator,
    )
    for instrument in (bench.generator, bench.analyzer):
        if isinstance(instrument, RemoteAnalyzer | RemoteGenerator):
            stack.push_async_callback(instrument.dialogue.close)
    return bench


def assemble_bench(
    data: BenchData,
    clock: Clock,
    analyzer: Link | None,
    generator: Link | None,
    operator: Operator,
) -> Bench:
    """Return the bench of open links; what has no link is worked by hand."""
    return _bench_of(
        data,
        clock,
        _remote_analyzer(data, clock, analyzer),
        _generator(data, clock, generator, operator),
        operator,
    )


def _bench_of(
    data: BenchData,
    clock: Clock,
    linked: Analyzer | None,
    generator: Generator,
    operator: Operator,
) -> Bench:
    """Return the bench; `linked`: the analyzer as far as a line reaches it."""
    simulation = data.file.simulation
    return Bench(
        name=data.file.name,
        analyzer=_analyzer(data, clock, linked, operator),
        generator=generator,
        operator=operator,
        clock=clock,
        asset=data.file.asset,
        certificate=data.certificate,
        environment=data.environment,
        seed=None if simulation is None else simulation.seed,
        documents=data.documents,
    )


def _remote_analyzer(data: BenchData, clock: Clock, link: Link | None) -> RemoteAnalyzer | None:
    if link is None or data.analyzer_commands is None:
        return None
    dialogue = Dialogue(link, data.analyzer_commands, clock)
    return RemoteAnalyzer(data.analyzer, dialogue, data.file.analyzer.identity)


def _analyzer(
    data: BenchData, clock: Clock, linked: Analyzer | None, operator: Operator
) -> Analyzer:
    entry = data.file.analyzer
    if not entry.by_hand and linked is not None:
        return linked
    named = (data.analyzer.maker, data.analyzer.model, entry.identity)
    label = ",".join((*filter(None, named), "by the bench file: nothing reads it"))
    return HandWorkedAnalyzer(data.analyzer, entry.by_hand, operator, clock, linked, label)


def _generator(data: BenchData, clock: Clock, link: Link | None, operator: Operator) -> Generator:
    if link is None:
        asset = data.file.asset
        named = data.generator if asset is None else asset
        serial = "" if asset is None else asset.serial
        label = f"{named.maker},{named.model},{serial}"
        return HandOperatedGenerator(data.generator, operator, label)
    assert data.generator_commands is not None  # as reading the bench saw to
    dialogue = Dialogue(link, data.generator_commands, clock)
    return RemoteGenerator(data.generator, dialogue, data.file.generator.identity)
