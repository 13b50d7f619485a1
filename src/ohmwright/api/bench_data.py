"""A bench file with all files that it names, read and checked; nothing is opened."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple, TypeVar

from ohmwright.engine.requirements import Abilities
from ohmwright.instruments.remote_analyzer import check_limit_agreement
from ohmwright.instruments.required_messages import ANALYZER, GENERATOR, check_complete
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.base import FrozenModel
from ohmwright.model.bench_file import BenchFile, SerialPort, Simulated
from ohmwright.model.document import Document, Role, document
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.source import load, parse, read_text
from ohmwright.simulator.faults import LineFault
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile
from ohmwright.wire.command_set import CommandSet, Verb, command_set_file

from .paths import certificate_file, data_file

M = TypeVar("M", bound=FrozenModel)


class SimulationProfiles(NamedTuple):
    """What a simulated bench is simulated from."""

    analyzer: AnalyzerProfile
    generator: GeneratorProfile


@dataclass(frozen=True)
class BenchData:
    """The content of a bench file and of the files that it names."""

    file: BenchFile
    path: Path
    analyzer_path: Path
    generator_path: Path
    analyzer: AnalyzerData
    generator: GeneratorData
    certificate_path: Path | None
    certificate: AnalyzerCertificate | None
    analyzer_commands: CommandSet
    generator_commands: CommandSet | None
    """None where the generator is operated by hand."""
    profiles: SimulationProfiles | None
    """None where the hardware is not simulated in this process."""
    faults: tuple[LineFault, ...] = ()
    """Faults to inject on the lines of the simulated hardware."""
    documents: tuple[Document, ...] = ()
    """The text of every file, as it was read."""

    @property
    def virtual_time(self) -> bool:
        """Whether the bench's clock is simulated, which starts at the simulator's own date."""
        simulated = isinstance(self.file.analyzer.link, Simulated)
        return simulated or self.file.stepped_time is not None

    def abilities(self, *, attended: bool) -> Abilities:
        """Return what the bench can do by its files: nothing needs to be connected to know it."""
        generator = self.generator_commands
        return Abilities(
            self.analyzer,
            self.generator,
            has_port=self.file.generator.link is not None,
            attended=attended,
            certificate=self.certificate,
            analyzer_verbs=self.analyzer_commands.verbs,
            generator_verbs=None if generator is None else generator.verbs,
        )

    def with_seed(self, seed: int) -> BenchData:
        """Return the bench with another simulated unit. Raises UsageError for a real one."""
        if self.file.simulation is None:
            raise UsageError(
                f"{self.path}: a seed chooses a simulated unit, and this bench has none.",
                do="Leave the seed out, or add a [simulation] table.",
            )
        simulation = self.file.simulation.model_copy(update={"seed": seed})
        return replace(self, file=self.file.model_copy(update={"simulation": simulation}))


@dataclass(frozen=True)
class BenchChoice:
    """The bench of a command: its file and the options that differ from it."""

    path: Path
    port: str | None = None
    """Replaces the analyzer's serial port: a name, or `serial=NUMBER` of its USB adapter."""
    guarded: bool = True
    """Whether a guard process owns the analyzer's port."""

    def read(self) -> BenchData:
        """Return the bench file with its data files. Raises SourceError, UsageError."""
        data = read_bench(self.path)
        if self.port is None:
            return data
        return replace(data, file=_at_port(data.file, self.port))


def read_bench(path: Path) -> BenchData:
    """Read the bench file `path` and every file that a run on it reads.

    Raises SourceError where a file is missing or wrong, or the files contradict each other.
    """
    read = _Reader()
    file = read.parse("bench", path, BenchFile)
    analyzer_path = data_file(file.analyzer.data, path, "analyzers")
    generator_path = data_file(file.generator.data, path, "generators")
    certificate = file.analyzer.certificate
    certificate_path = None if certificate is None else certificate_file(certificate, path)
    analyzer = read.parse("analyzer data", analyzer_path, AnalyzerData, table="data")
    generator = read.parse("generator data", generator_path, GeneratorData, table="data")
    simulated = isinstance(file.analyzer.link, Simulated)
    analyzer_commands = read.commands(
        "analyzer command set", analyzer.command_set, analyzer_path, ANALYZER
    )
    check_limit_agreement(analyzer, analyzer_commands)
    return BenchData(
        file,
        path,
        analyzer_path,
        generator_path,
        analyzer,
        generator,
        certificate_path,
        None
        if certificate_path is None
        else read.parse("analyzer certificate", certificate_path, AnalyzerCertificate),
        analyzer_commands,
        _generator_commands(read, file, generator, generator_path),
        read_simulation_profiles(analyzer_path, generator_path) if simulated else None,
        documents=tuple(read.documents),
    )


class _Reader:
    """Reads files and keeps each text that was validated, in `documents`."""

    def __init__(self) -> None:
        self.documents: list[Document] = []

    def parse(self, role: Role, path: Path, model: type[M], *, table: str | None = None) -> M:
        text = read_text(path)
        self.documents.append(document(role, path, text))
        return parse(path, text, model, table=table)

    def commands(self, role: Role, name: str, beside: Path, needed: tuple[Verb, ...]) -> CommandSet:
        where = command_set_file(name, beside)
        commands = self.parse(role, where, CommandSet)
        check_complete(commands, needed, str(where))
        return commands


def read_simulation_profiles(analyzer_path: Path, generator_path: Path) -> SimulationProfiles:
    """Read the simulation profiles in two data files. Raises SourceError where one has none."""
    return SimulationProfiles(
        load(analyzer_path, AnalyzerProfile), load(generator_path, GeneratorProfile)
    )


def _generator_commands(
    read: _Reader, file: BenchFile, data: GeneratorData, path: Path
) -> CommandSet | None:
    if file.generator.link is None:
        return None
    if data.command_set is None:
        raise SourceError(
            f"{path}: the generator has no command set, yet the bench gives it a link.",
            do="Name its command_set, or take the link out of the bench file.",
        )
    return read.commands("generator command set", data.command_set, path, GENERATOR)


def _at_port(file: BenchFile, port: str) -> BenchFile:
    link = file.analyzer.link
    if not isinstance(link, SerialPort):
        raise UsageError(
            "--port is for an analyzer on a serial port, which this bench has not.",
            do="Change the analyzer's link in the bench file.",
        )
    moved = file.analyzer.model_copy(update={"link": link.model_copy(update={"port": port})})
    return file.model_copy(update={"analyzer": moved})
