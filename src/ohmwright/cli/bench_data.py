"""A bench file with all files that it names, read and checked; nothing is opened."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import NamedTuple, TypeVar

from ohmwright.instruments.declared_protections import declared_protections, protections_by_hand
from ohmwright.instruments.remote_analyzer import check_limit_agreement
from ohmwright.instruments.required_messages import (
    GENERATOR,
    analyzer_messages,
    check_complete,
    verbs_by_hand,
)
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.base import FrozenModel
from ohmwright.model.bench_file import BenchFile, SerialPort
from ohmwright.model.by_hand import data_by_hand
from ohmwright.model.document import Document, Role, document
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.protections import Protections
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
    analyzer_commands: CommandSet | None
    """None where nothing reaches the analyzer and a person works it."""
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
        return self.file.in_process or self.file.stepped_time is not None

    @property
    def can_be_guarded(self) -> bool:
        """Whether a guard process could end RF: not where a person keeps it on."""
        by_hand = self.file.analyzer.by_hand
        return self.file.analyzer.link is not None and "foot switch" not in by_hand

    @property
    def analyzer_by_hand(self) -> AnalyzerData:
        """What the analyzer can do where a person does what the bench file says."""
        return data_by_hand(self.analyzer, self.file.analyzer.by_hand)

    @property
    def analyzer_verbs(self) -> frozenset[Verb] | None:
        """What works by command or by hand; None where a person works the whole analyzer."""
        commands, by_hand = self.analyzer_commands, self.file.analyzer.by_hand
        return None if commands is None else verbs_by_hand(commands.verbs, by_hand)

    def protections(self, *, guarded: bool) -> Protections:
        """Return the protections of the bench, by its files."""
        file, commands = self.file, self.analyzer_commands
        linked = Protections()
        if commands is not None:
            linked = declared_protections(
                self.analyzer,
                commands,
                guarded=guarded and self.can_be_guarded and not file.in_process,
                harmless=file.simulation is not None,
            )
        return protections_by_hand(linked, file.analyzer.by_hand)


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
        _analyzer_commands(read, file, analyzer, analyzer_path),
        _generator_commands(read, file, generator, generator_path),
        read_simulation_profiles(analyzer_path, generator_path) if file.in_process else None,
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


def _analyzer_commands(
    read: _Reader, file: BenchFile, data: AnalyzerData, path: Path
) -> CommandSet | None:
    if file.analyzer.link is None:
        return None
    if data.command_set is None:
        raise SourceError(
            f"{path}: the analyzer has no command set, yet the bench gives it a link.",
            do="Name its command_set, or take the link out and name all of by_hand.",
        )
    needed = analyzer_messages(file.analyzer.by_hand)
    commands = read.commands("analyzer command set", data.command_set, path, needed)
    check_limit_agreement(data, commands)
    return commands


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
