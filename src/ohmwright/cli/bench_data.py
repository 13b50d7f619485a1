"""A bench as the command line names it: its file, its data files, what is different this time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TypeVar

from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.base import Noun
from ohmwright.model.bench_file import BenchFile, SerialPort, Simulated
from ohmwright.model.document import Document, Role, document
from ohmwright.model.errors import UsageError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.source import parse, read_text
from ohmwright.simulator.faults import Fault
from ohmwright.wire.command_set import CommandSet, command_set_file

from .places import certificate_file, data_file

N = TypeVar("N", bound=Noun)


@dataclass(frozen=True)
class BenchData:
    """A bench file with the data files that it names."""

    file: BenchFile
    path: Path
    analyzer_path: Path
    generator_path: Path
    analyzer: AnalyzerData
    generator: GeneratorData
    analyzer_commands: CommandSet
    generator_commands: CommandSet | None
    """None for a unit without a port."""
    certificate_path: Path | None = None
    certificate: AnalyzerCertificate | None = None
    faults: tuple[Fault, ...] = ()
    """What befalls the lines of the simulated hardware."""
    documents: tuple[Document, ...] = ()
    """The text of every file, as it was read."""


@dataclass(frozen=True)
class BenchChoice:
    """The bench that a command works on, as the command line says it."""

    path: Path
    port: str | None = None
    """Instead of the analyzer's serial port: a name, or `serial=NUMBER` of its USB adapter."""
    guarded: bool = True
    faults: tuple[Fault, ...] = ()

    def read(self) -> BenchData:
        """The bench file and its data files. Raises SourceError, UsageError."""
        data = read_bench(self.path)
        if self.port is not None:
            data = replace(data, file=_at_port(data.file, self.port))
        if self.faults:
            _refuse_faults(data, self.faults)
        return replace(data, faults=self.faults)


def read_bench(path: Path) -> BenchData:
    """Read the bench file `path` and every file that it names. Raises SourceError."""
    read = _Reader()
    file = read.noun("bench", path, BenchFile)
    analyzer_path = data_file(file.analyzer.data, path, "analyzers")
    generator_path = data_file(file.generator.data, path, "generators")
    certificate = file.analyzer.certificate
    certificate_path = None if certificate is None else certificate_file(certificate, path)
    analyzer = read.noun("analyzer data", analyzer_path, AnalyzerData, table="data")
    generator = read.noun("generator data", generator_path, GeneratorData, table="data")
    return BenchData(
        file,
        path,
        analyzer_path,
        generator_path,
        analyzer,
        generator,
        read.commands("analyzer command set", analyzer.command_set, analyzer_path),
        None
        if generator.command_set is None
        else read.commands("generator command set", generator.command_set, generator_path),
        certificate_path,
        None
        if certificate_path is None
        else read.noun("analyzer certificate", certificate_path, AnalyzerCertificate),
        documents=tuple(read.documents),
    )


class _Reader:
    """Reads files and keeps the text of each, just as it was validated."""

    def __init__(self) -> None:
        self.documents: list[Document] = []

    def noun(self, role: Role, path: Path, noun: type[N], *, table: str | None = None) -> N:
        text = read_text(path)
        self.documents.append(document(role, path, text))
        return parse(path, text, noun, table=table)

    def commands(self, role: Role, name: str, beside: Path) -> CommandSet:
        return self.noun(role, command_set_file(name, beside), CommandSet)


def _at_port(file: BenchFile, port: str) -> BenchFile:
    link = file.analyzer.link
    if not isinstance(link, SerialPort):
        raise UsageError(
            "--port is for an analyzer on a serial port, which this bench has not.",
            do="Change the analyzer's link in the bench file.",
        )
    moved = file.analyzer.model_copy(update={"link": link.model_copy(update={"port": port})})
    return file.model_copy(update={"analyzer": moved})


def _refuse_faults(data: BenchData, faults: tuple[Fault, ...]) -> None:
    """Only a line that is simulated here can be made to fail."""
    if not isinstance(data.file.analyzer.link, Simulated):
        raise UsageError(
            f"{data.path}: --fault is for a bench that is simulated here. Nothing was opened.",
            do="Leave it out; where 'ohmwright simulate' serves the bench, give it there.",
        )
    if data.file.generator.link is None and any(fault.line == "generator" for fault in faults):
        raise UsageError(
            f"{data.path}: a person works its generator; no line leads there that could fail.",
            do="Give --fault for the analyzer's line.",
        )
