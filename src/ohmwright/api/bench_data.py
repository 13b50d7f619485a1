"""A bench file with all files that it names, read and checked; nothing is opened."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import SupportsIndex

from ohmwright.engine.requirements import Abilities
from ohmwright.engine.run_so_far import stored_moves
from ohmwright.instruments.back_ends.base import AnalyzerBackEnd, GeneratorBackEnd
from ohmwright.instruments.back_ends.chosen import ChosenBackEnd
from ohmwright.instruments.declared_protections import declared_protections, protections_by_hand
from ohmwright.instruments.required_messages import verbs_by_hand
from ohmwright.model.analyzer_certificate import AnalyzerCertificate
from ohmwright.model.bench_file import BenchFile, OwnLine, SerialPort
from ohmwright.model.by_hand import data_by_hand
from ohmwright.model.document import Document
from ohmwright.model.errors import SourceError, UsageError
from ohmwright.model.event import Event, TrimMoved
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.protections import Protections
from ohmwright.model.seen_text import seen_text
from ohmwright.model.source import place_in
from ohmwright.model.traceability import Environment, RoomFigures, environment_of
from ohmwright.simulator.faults import LineFault
from ohmwright.wire.command_set import CommandSet, Verb
from ohmwright.wire.line_proof import is_proved

from .paths import certificate_file, data_file
from .simulation_profiles import SimulationProfiles, read_simulation_profiles
from .spoken_to import FileReader, analyzer_way, generator_way, verbs_of_way


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
    """None where a back end works the analyzer, or a person the whole of it."""
    generator_commands: CommandSet | None
    """None where the generator is operated by hand, or a back end works it."""
    profiles: SimulationProfiles | None
    """None where the hardware is not simulated in this process."""
    faults: tuple[LineFault, ...] = ()
    """Faults to inject on the lines of the simulated hardware."""
    trims_kept: tuple[TrimMoved, ...] = ()
    """What an earlier part of the run has moved and stored: a unit that is simulated in this
    process is built anew for each part, and has these again."""
    documents: tuple[Document, ...] = ()
    """The text of every file, as it was read."""
    analyzer_back_end: ChosenBackEnd[AnalyzerBackEnd] | None = None
    generator_back_end: ChosenBackEnd[GeneratorBackEnd] | None = None
    room: RoomFigures = field(default_factory=RoomFigures)
    """What the operator gave of the room; the bench file says the rest."""

    @property
    def environment(self) -> Environment | None:
        """The room, and who told each figure; None where nobody did."""
        return environment_of(self.file.environment, self.room)

    @property
    def generator_verbs(self) -> frozenset[Verb] | None:
        """What the generator has a message or a method for; None where a person works it."""
        return verbs_of_way(self.generator_commands, self.generator_back_end)

    @property
    def virtual_time(self) -> bool:
        """Whether the bench's clock is simulated, which starts at the simulator's own date."""
        return self.file.in_process or self.file.stepped_time is not None

    @property
    def read_by_eye(self) -> bool:
        """Whether a person types what the meter shows."""
        return "reading" in self.file.analyzer.by_hand

    @property
    def can_be_guarded(self) -> bool:
        """Whether a guard process could end RF.

        Not where a person keeps it on, nor where a back end gives it no orders.
        """
        entry, back_end = self.file.analyzer, self.analyzer_back_end
        if entry.link is None or isinstance(entry.link, OwnLine):
            return False
        has_orders = back_end is None or back_end.orders is not None
        return has_orders and "foot switch" not in entry.by_hand

    @property
    def analyzer_by_hand(self) -> AnalyzerData:
        """What the analyzer can do where a person does what the bench file says."""
        return data_by_hand(self.analyzer, self.file.analyzer.by_hand)

    @property
    def analyzer_verbs(self) -> frozenset[Verb] | None:
        """What works by command or by hand; None where a person works the whole analyzer."""
        linked = verbs_of_way(self.analyzer_commands, self.analyzer_back_end)
        return verbs_by_hand(linked, self.file.analyzer.by_hand)

    def protections(self, *, guarded: bool) -> Protections:
        """Return the protections of the bench, by its files."""
        file, commands = self.file, self.analyzer_commands
        verbs, linked = verbs_of_way(commands, self.analyzer_back_end), Protections()
        if verbs is not None:
            linked = declared_protections(
                self.analyzer,
                verbs,
                proved="resynchronise" in verbs if commands is None else is_proved(commands),
                guarded=guarded and self.can_be_guarded and not file.in_process,
                harmless=file.simulation is not None,
            )
        return protections_by_hand(linked, file.analyzer.by_hand)

    def abilities(self, *, attended: bool) -> Abilities:
        """Return what the bench can do by its files: nothing needs to be connected to know it."""
        return Abilities(
            self.analyzer_by_hand,
            self.generator,
            has_port=self.file.generator.link is not None,
            attended=attended,
            certificate=self.certificate,
            analyzer_verbs=self.analyzer_verbs,
            generator_verbs=self.generator_verbs,
            protections=self.protections(guarded=True),
        )

    def gone_on_with(self, earlier: Sequence[Event]) -> BenchData:
        """Return the bench as the `earlier` events of a run have left its unit."""
        return replace(self, trims_kept=stored_moves(earlier))

    def with_seed(self, seed: int) -> BenchData:
        """Return the bench with another simulated unit.

        Raises UsageError for a real one, and where `seed` is no whole number from 0 on.
        """
        if not isinstance(seed, SupportsIndex) or isinstance(seed, bool) or seed < 0:
            raise UsageError(
                f"A seed chooses a simulated unit, and {seed!r} does not.",
                "Nothing was opened.",
                "Give a whole number from 0 on.",
            )
        if self.file.simulation is None:
            raise UsageError(
                f"{self.path}: a seed chooses a simulated unit, and this bench has none.",
                do="Leave the seed out, or add a [simulation] table.",
            )
        simulation = self.file.simulation.model_copy(update={"seed": int(seed)})
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
    read = FileReader()
    file = read.parse("bench", path, BenchFile)
    bench = read_bench_of(file, path, tuple(read.documents))
    _refuse_another_model(bench)
    return bench


def _refuse_another_model(bench: BenchData) -> None:
    """Raise SourceError where the unit of the file is not of the only generator's model."""
    asset, model, path = bench.file.asset, bench.generator.model, bench.path
    if asset is None or bench.file.generators or asset.model == model:
        return
    said = f"the unit is a {asset.model}, and the data of its generator are those of a {model}"
    raise SourceError(
        f"{place_in(path, ('asset', 'model'))}: {seen_text(said)}.",
        do="Correct the model, or take the data of that generator.",
    )


def read_bench_of(file: BenchFile, path: Path, documents: tuple[Document, ...]) -> BenchData:
    """Read every file that `file`, the bench of `path`, names; `documents`: its own text."""
    read = FileReader()
    read.documents += documents
    analyzer_path = data_file(file.analyzer.data, path, "analyzers", ("analyzer", "data"))
    generator_path = data_file(file.generator.data, path, "generators", ("generator", "data"))
    certificate = file.analyzer.certificate
    certificate_path = None if certificate is None else certificate_file(certificate, path)
    analyzer = read.parse("analyzer data", analyzer_path, AnalyzerData, table="data")
    generator = read.parse("generator data", generator_path, GeneratorData, table="data")
    analyzer_by = analyzer_way(read, file, analyzer, analyzer_path)
    generator_by = generator_way(read, file, generator, generator_path)
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
        analyzer_by.commands,
        generator_by.commands,
        read_simulation_profiles(analyzer_path, generator_path) if file.in_process else None,
        documents=tuple(read.documents),
        analyzer_back_end=analyzer_by.back_end,
        generator_back_end=generator_by.back_end,
    )


def _at_port(file: BenchFile, port: str) -> BenchFile:
    link = file.analyzer.link
    if not isinstance(link, SerialPort):
        raise UsageError(
            "--port is for an analyzer on a serial port, which this bench has not.",
            do="Change the analyzer's link in the bench file.",
        )
    moved = file.analyzer.model_copy(update={"link": link.model_copy(update={"port": port})})
    return file.model_copy(update={"analyzer": moved})
