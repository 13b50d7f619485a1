"""A simulated bench whose lines have faults."""

from __future__ import annotations

from collections.abc import Sequence

from ohmwright.wire.clock import Clock

from .bench import SimulatedBench
from .faults import Line, LineFault
from .faulty_port import FaultyPort, Port
from .profile import AnalyzerProfile, GeneratorProfile

_OTHER = 1000
"""So far on in the row of simulated units is the one that answers in a masquerade."""


class FaultyBench(SimulatedBench):
    """A bench whose ports raise ConnectionError where they are unplugged.

    Of several faults of one line, each counts the messages that the ones before it let through.
    """

    def __init__(
        self,
        analyzer: AnalyzerProfile,
        generator: GeneratorProfile,
        *,
        seed: int,
        clock: Clock,
        age_months: float = 24.0,
        faults: Sequence[LineFault],
    ) -> None:
        super().__init__(analyzer, generator, seed=seed, clock=clock, age_months=age_months)
        other = SimulatedBench(
            analyzer, generator, seed=seed + _OTHER, clock=clock, age_months=age_months
        )
        self._faulty_analyzer = _faulty(
            super().analyzer_port, other.analyzer_port, seed, _of("analyzer", faults)
        )
        self._faulty_generator = _faulty(
            super().generator_port, other.generator_port, seed, _of("generator", faults)
        )

    def analyzer_port(self, line: bytes) -> bytes:
        """Carry out a line sent to the analyzer over its faulty line; what arrives in reply."""
        return self._faulty_analyzer(line)

    def generator_port(self, line: bytes) -> bytes:
        """Carry out a line sent to the generator over its faulty line; what arrives in reply."""
        return self._faulty_generator(line)


def _of(line: Line, faults: Sequence[LineFault]) -> list[LineFault]:
    return [fault for fault in faults if fault.line == line]


def _faulty(port: Port, other: Port, seed: int, faults: Sequence[LineFault]) -> Port:
    for fault in reversed(faults):
        port = FaultyPort(port, fault, other=other, seed=seed)
    return port
