"""How each instrument of a bench is spoken to: a command set or a back end, read and checked."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any, Generic, NamedTuple, TypeVar

from ohmwright.instruments.back_ends.base import AnalyzerBackEnd, BackEnd, GeneratorBackEnd
from ohmwright.instruments.back_ends.chosen import ChosenBackEnd, chosen_back_end, options_in
from ohmwright.instruments.back_ends.installed import (
    InstalledBackEnd,
    analyzer_back_end,
    generator_back_end,
)
from ohmwright.instruments.remote_analyzer import check_limit_agreement
from ohmwright.instruments.required_messages import GENERATOR, analyzer_messages, check_complete
from ohmwright.model.base import FrozenModel
from ohmwright.model.bench_file import BenchFile, OwnLine, Simulated
from ohmwright.model.document import Document, Role, digest_of, document
from ohmwright.model.errors import SourceError
from ohmwright.model.hardware import AnalyzerData, GeneratorData
from ohmwright.model.source import parse, place_in, read_text
from ohmwright.simulator.open_form import is_understood
from ohmwright.wire.command_set import CommandSet, Verb, command_set_file

M = TypeVar("M", bound=FrozenModel)
B = TypeVar("B", bound=BackEnd)


class FileReader:
    """Reads files and keeps each text that was validated, in `documents`."""

    def __init__(self) -> None:
        self.documents: list[Document] = []

    def parse(self, role: Role, path: Path, model: type[M], *, table: str | None = None) -> M:
        """Return the file `path` as the model `model`. Raises SourceError."""
        text = read_text(path)
        self.documents.append(document(role, path, text))
        return parse(path, text, model, table=table)

    def commands(self, role: Role, name: str, beside: Path, needed: Iterable[Verb]) -> CommandSet:
        """Return the command set `name`, which must have the messages `needed`."""
        where = command_set_file(name, beside)
        commands = self.parse(role, where, CommandSet)
        check_complete(commands, needed, str(where))
        return commands

    def keep_source(self, role: Role, installed: InstalledBackEnd[B]) -> None:
        """Keep the source text of a back end among the documents."""
        text, name = installed.source, installed.name
        self.documents.append(Document(role=role, name=name, sha256=digest_of(text), text=text))


class SpokenTo(NamedTuple, Generic[B]):
    """What works an instrument; neither where a person does."""

    commands: CommandSet | None = None
    back_end: ChosenBackEnd[B] | None = None


def verbs_of_way(
    commands: CommandSet | None, back_end: ChosenBackEnd[Any] | None
) -> frozenset[Verb] | None:
    """Return what there is a message or a method for; None where a person works it."""
    way = back_end or commands
    return None if way is None else way.verbs


def analyzer_way(
    reader: FileReader, file: BenchFile, data: AnalyzerData, path: Path
) -> SpokenTo[AnalyzerBackEnd]:
    """Return how the analyzer of a bench file is spoken to. Raises SourceError."""
    if file.analyzer.link is None:
        return SpokenTo()
    needed = analyzer_messages(file.analyzer.by_hand)
    if data.backend is not None:
        _refuse_simulated(file.analyzer.link, path)
        installed = analyzer_back_end(data.backend, str(path))
        options = options_in(path, AnalyzerData, installed)
        reader.keep_source("analyzer back end", installed)
        chosen = chosen_back_end(installed, options, needed, str(path))
        return SpokenTo(None, chosen)
    if data.command_set is None:
        raise _nothing_speaks("analyzer", path)
    _refuse_own_line(file.analyzer.link, path)
    commands = reader.commands("analyzer command set", data.command_set, path, needed)
    _refuse_not_understood(file.analyzer.link, commands, path, "scpi-1999-analyzer")
    check_limit_agreement(data, commands)
    return SpokenTo(commands)


def generator_way(
    reader: FileReader, file: BenchFile, data: GeneratorData, path: Path
) -> SpokenTo[GeneratorBackEnd]:
    """Return how the generator of a bench file is spoken to. Raises SourceError."""
    if file.generator.link is None:
        return SpokenTo()
    if data.backend is not None:
        _refuse_simulated(file.generator.link, path)
        installed = generator_back_end(data.backend, str(path))
        options = options_in(path, GeneratorData, installed)
        reader.keep_source("generator back end", installed)
        chosen = chosen_back_end(installed, options, GENERATOR, str(path))
        return SpokenTo(None, chosen)
    if data.command_set is None:
        raise _nothing_speaks("generator", path)
    _refuse_own_line(file.generator.link, path)
    commands = reader.commands("generator command set", data.command_set, path, GENERATOR)
    _refuse_not_understood(file.generator.link, commands, path, "scpi-1999-generator")
    return SpokenTo(commands)


def _nothing_speaks(who: str, path: Path) -> SourceError:
    return SourceError(
        f"{path}: the {who} has no command set, yet the bench gives it a link.",
        do="Name its command_set or backend, or take the link out of the bench file, with by_hand "
        "for an analyzer.",
    )


def _refuse_simulated(link: object, path: Path) -> None:
    if isinstance(link, Simulated):
        raise SourceError(
            f"{path}: a simulated instrument is spoken to through a command set.",
            "A back end works the instrument itself.",
            "Name a command_set, or reach the instrument over a link of its own.",
        )


def _refuse_not_understood(link: object, commands: CommandSet, path: Path, open_form: str) -> None:
    if isinstance(link, Simulated) and not is_understood(commands):
        raise SourceError(
            f"{place_in(path, ('data', 'command_set'))}: a simulated instrument does not "
            f"understand command set '{commands.name}', only '{open_form}'.",
            "Nothing was opened. Messages of your own are tried at the instrument, by 'probe' and "
            "'doctor'.",
            f"In a copy of this file, for the simulated bench, write command_set = '{open_form}'. "
            "'rehearse' simulates a real bench as it is.",
        )


def _refuse_own_line(link: object, path: Path) -> None:
    if isinstance(link, OwnLine):
        raise SourceError(
            f"{path}: a link of kind 'own' is for an instrument with a back end.",
            "A command set needs a line that it can be spoken over.",
            "Give the link of kind 'serial', 'tcp' or 'visa'.",
        )
