"""The bench of a rehearsal: its hardware simulated, opened anew for every unit."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, time, timedelta

from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.generator import Generator
from ohmwright.instruments.hand_operated import HandOperatedGenerator
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.remote_generator import RemoteGenerator
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import Asset
from ohmwright.model.traceability import Environment
from ohmwright.simulator.bench import SimulatedBench
from ohmwright.simulator.cued_hands import Hands
from ohmwright.simulator.direct_analyzer import DirectAnalyzer
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.command_set import CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.links.memory import MemoryLink

_START = datetime(2026, 1, 5, 8, tzinfo=UTC)
"""When a virtual clock starts, where the certificate is in date then."""


@dataclass(frozen=True)
class RehearsedBench:
    """What a bench file and its data files say, as far as it is needed to simulate the bench."""

    name: str
    analyzer: AnalyzerProfile
    generator: GeneratorProfile
    analyzer_commands: CommandSet
    generator_commands: CommandSet | None
    """None where the generator is operated by hand."""
    asset: Asset
    certificate: AnalyzerCertificate | None = None
    environment: Environment | None = None
    age_months: float = 24.0
    """Age of every unit."""
    unattended: bool = False
    """Whether nobody answers requests; else a simulated person does."""
    hands: Hands = field(default_factory=Hands)
    """How that person works keys on cue, where the generator has no port."""

    def opened(self, seed: int) -> tuple[Bench, SimulatedBench]:
        """Return the bench with the unit and the analyzer of `seed`, and the hardware behind it."""
        clock = VirtualClock(self._start())
        hardware = SimulatedBench(
            self.analyzer, self.generator, seed=seed, clock=clock, age_months=self.age_months
        )
        line = MemoryLink("simulated analyzer", hardware.analyzer_port, clock)
        operator: Operator = AbsentOperator()
        if not self.unattended:
            operator = SimulatedOperator(hardware.panel, clock, hands=self.hands, seed=seed)
        bench = Bench(
            name=self.name,
            analyzer=DirectAnalyzer(
                self.analyzer.data,
                Dialogue(line, self.analyzer_commands, clock),
                "",
                hardware.readings,
            ),
            generator=self._generator(hardware, clock, operator),
            operator=operator,
            clock=clock,
            asset=self.asset,
            certificate=self._certificate,
            environment=self.environment,
            seed=seed,
        )
        return bench, hardware

    def _generator(
        self, hardware: SimulatedBench, clock: VirtualClock, operator: Operator
    ) -> Generator:
        data = self.generator.data
        if self.generator_commands is None:
            label = f"{self.asset.maker},{self.asset.model},{self.asset.serial}"
            return HandOperatedGenerator(data, operator, label)
        line = MemoryLink("simulated generator", hardware.generator_port, clock)
        return RemoteGenerator(data, Dialogue(line, self.generator_commands, clock))

    @property
    def _certificate(self) -> AnalyzerCertificate | None:
        """The certificate for any analyzer of the model: each unit meets another one."""
        if self.certificate is None:
            return None
        return self.certificate.model_copy(update={"serial": None})

    def _start(self) -> datetime:
        """The clock's start: a day on which the certificate is in date."""
        stated = self.certificate
        if stated is None or stated.calibrated_on <= _START.date() <= stated.due_on:
            return _START
        day = min(stated.calibrated_on + timedelta(days=1), stated.due_on)
        return datetime.combine(day, time(8), UTC)

    def with_generator(self, generator: GeneratorProfile) -> RehearsedBench:
        """Return the bench with units drawn from another profile of the model."""
        return replace(self, generator=generator)
