"""A whole simulated bench: two instruments that answer SCPI text, a panel, and the truth."""

from __future__ import annotations

from ohmwright.wire.clock import Clock

from .analyzer_commands import AnalyzerCommands
from .analyzer_front import AnalyzerFront
from .direct_readings import DirectReadings
from .dispatcher import Dispatcher, common_commands
from .generator_commands import GeneratorCommands
from .identities import analyzer_identity, generator_identity, generator_serial
from .panel import Panel
from .profile import AnalyzerProfile, GeneratorProfile
from .randomness import Randomness
from .rig import Rig
from .truth import Truth


class SimulatedBench:
    """Invented hardware on a clock.

    Nothing happens by itself: whoever asks first lets it catch up with the clock. What happened
    meanwhile depends on the seed and on the commands, never on how often somebody looked.
    """

    def __init__(
        self,
        analyzer: AnalyzerProfile,
        generator: GeneratorProfile,
        *,
        seed: int,
        clock: Clock,
        age_months: float = 24.0,
    ) -> None:
        self.clock = clock
        self._analyzer, self._generator = Dispatcher(), Dispatcher()
        self._rig = rig = Rig(
            analyzer, generator, seed, age_months, clock, self._analyzer.push_error
        )
        common_commands(self._analyzer, analyzer_identity(analyzer.data, seed), rig.reset_analyzer)
        common_commands(
            self._generator, generator_identity(generator.data, seed), rig.generator.reset
        )
        AnalyzerCommands(rig, self._analyzer, Randomness(seed, "analyzer"))
        GeneratorCommands(rig, self._generator)
        self.panel = Panel(rig, generator_serial(seed))
        self.front = AnalyzerFront(rig)
        self.truth = Truth(rig)
        self.readings = DirectReadings(rig)
        self.defects = rig.defects

    def analyzer_port(self, line: bytes) -> bytes:
        """Carry out one line sent to the analyzer; the reply line, or nothing."""
        self._rig.catch_up()
        return self._analyzer.handle(line)

    def generator_port(self, line: bytes) -> bytes:
        """Carry out one line sent to the generator; the reply line, or nothing."""
        self._rig.catch_up()
        return self._generator.handle(line)

    def catch_up(self) -> None:
        """Advance the hardware to the time of the clock."""
        self._rig.catch_up()
