"""Open the instruments of a bench file; the only module that knows which bench is simulated."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import AsyncExitStack, aclosing, asynccontextmanager
from functools import partial

from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.generator import Generator
from ohmwright.instruments.hand_operated import HandOperatedGenerator
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.instruments.remote_generator import RemoteGenerator
from ohmwright.model.bench_file import Address, SerialPort, Simulated, TcpAddress
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.faulty_bench import FaultyBench
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.remote_clock import SteppedClock
from ohmwright.wire.clock import Clock, RealClock, VirtualClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.guard.opening import (
    open_guarded_serial,
    open_guarded_tcp,
    open_guarded_visa,
)
from ohmwright.wire.link import Link
from ohmwright.wire.links.memory import MemoryLink
from ohmwright.wire.links.serial import open_serial
from ohmwright.wire.links.tcp import open_tcp
from ohmwright.wire.links.visa import open_visa

from .bench_data import BenchData, read_simulation_profiles


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
        return build(
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


@asynccontextmanager
async def open_bench(
    data: BenchData, *, unattended: bool, guarded: bool = True, person: Operator | None = None
) -> AsyncIterator[Bench]:
    """Open every instrument of a bench; close them all at the end of the block.

    `guarded`: whether a guard process owns the analyzer's port, which switches the output; only a
    bench with a [simulation] table may do without one. `unattended`: nobody answers requests;
    `person`: who answers them at a bench that is not simulated in this process, None for nobody.
    Raises SourceError, UsageError, LinkError.
    """
    if not guarded and data.file.simulation is None:
        raise UsageError(
            f"{data.path}: a real bench is not worked without its guard.",
            "Nothing would send OFF if this program were killed. Nothing was switched on.",
            "Leave out --no-guard; it is for benches with a [simulation] table.",
        )
    async with AsyncExitStack() as stack:
        if isinstance(data.file.analyzer.link, Simulated):
            yield _simulated_bench(data, unattended=unattended)
        else:
            operator = AbsentOperator() if unattended or person is None else person
            yield await _real_bench(data, stack, operator, guarded=guarded)


def _simulated_bench(data: BenchData, *, unattended: bool) -> Bench:
    clock = VirtualClock()
    hardware = simulated_bench(data, clock)
    person = SimulatedOperator(hardware.panel, clock)
    analyzer = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
    generator = None
    if data.file.generator.link is not None:
        generator = MemoryLink("simulated generator", hardware.generator_port, clock)
    return assemble_bench(
        data, clock, analyzer, generator, AbsentOperator() if unattended else person
    )


async def _real_bench(
    data: BenchData, stack: AsyncExitStack, operator: Operator, *, guarded: bool
) -> Bench:
    async def link(address: Address) -> Link:
        return await stack.enter_async_context(aclosing(await _open_link(address)))

    clock: Clock = RealClock()
    if data.file.stepped_time is not None:
        clock = await SteppedClock.connect(await link(data.file.stepped_time))
    assert data.file.analyzer.link is not None  # the bench file's own check
    if guarded:
        analyzer = await _open_guarded_link(data.file.analyzer.link, data.analyzer_commands)
        await stack.enter_async_context(aclosing(analyzer))
    else:
        analyzer = await link(data.file.analyzer.link)
    generator_address = data.file.generator.link
    generator = None if generator_address is None else await link(generator_address)
    return assemble_bench(data, clock, analyzer, generator, operator)


async def _open_link(address: Address) -> Link:
    if isinstance(address, SerialPort):
        return await open_serial(address.port, baud=address.baud)
    if isinstance(address, TcpAddress):
        return await open_tcp(address.host, address.port)
    if isinstance(address, Simulated):
        raise SourceError("A simulated link needs the whole bench simulated.")
    return await open_visa(address.resource, backend=address.backend)


async def _open_guarded_link(address: Address, commands: CommandSet) -> Link:
    if isinstance(address, SerialPort):
        return await open_guarded_serial(address.port, baud=address.baud, commands=commands)
    if isinstance(address, TcpAddress):
        return await open_guarded_tcp(address.host, address.port, commands=commands)
    assert not isinstance(address, Simulated)  # such a bench is simulated as a whole
    return await open_guarded_visa(address.resource, backend=address.backend, commands=commands)


def assemble_bench(
    data: BenchData, clock: Clock, analyzer: Link, generator: Link | None, operator: Operator
) -> Bench:
    """Return the bench of open links; without a `generator` link it is operated by hand."""
    simulation = data.file.simulation
    return Bench(
        name=data.file.name,
        analyzer=RemoteAnalyzer(
            data.analyzer,
            Dialogue(analyzer, data.analyzer_commands, clock),
            data.file.analyzer.identity,
        ),
        generator=_generator(data, clock, generator, operator),
        operator=operator,
        clock=clock,
        asset=data.file.asset,
        certificate=data.certificate,
        environment=data.file.environment,
        seed=None if simulation is None else simulation.seed,
        documents=data.documents,
    )


def _generator(data: BenchData, clock: Clock, link: Link | None, operator: Operator) -> Generator:
    if link is None:
        asset = data.file.asset
        label = f"{asset.maker},{asset.model},{asset.serial}"
        return HandOperatedGenerator(data.generator, operator, label)
    assert data.generator_commands is not None  # as reading the bench saw to
    dialogue = Dialogue(link, data.generator_commands, clock)
    return RemoteGenerator(data.generator, dialogue, data.file.generator.identity)
