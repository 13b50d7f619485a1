"""How the instruments of a bench are spoken to where they are simulated in its place."""

from __future__ import annotations

from typing import NamedTuple

from ohmwright.simulator.open_form import stand_in
from ohmwright.wire.command_set import CommandSet

from .bench_data import BenchData
from .spoken_to import verbs_of_way


class SimulatedCommands(NamedTuple):
    """The command sets; None for an instrument without a link."""

    analyzer: CommandSet | None
    generator: CommandSet | None


def simulated_commands(data: BenchData) -> SimulatedCommands:
    """Return the command sets with which a bench is simulated, whether or not it is a real one.

    A real instrument's own messages mean nothing to a simulated one: the open form stands in, with
    the abilities of the real one.
    """
    if data.file.in_process:
        return SimulatedCommands(data.analyzer_commands, data.generator_commands)
    analyzer = verbs_of_way(data.analyzer_commands, data.analyzer_back_end)
    limited = data.analyzer.activation.max_limit_s is not None
    generator = data.generator_verbs
    return SimulatedCommands(
        None if analyzer is None else stand_in("analyzer", analyzer, limited=limited),
        None if generator is None else stand_in("generator", generator, limited=False),
    )
