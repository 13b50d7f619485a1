"""The generators that a bench file names: which one is for a unit, or for a procedure's model."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from ohmwright.model.bench_file import InstrumentEntry
from ohmwright.model.errors import SourceError
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.source import load

from .bench_data import BenchData, read_bench_of
from .paths import data_file


class NoGeneratorError(SourceError):
    """A bench has no generator of the model of a unit that was to be worked on there."""

    def __init__(self, bench: BenchData, unit: RegisteredAsset, models: list[str]) -> None:
        super().__init__(
            f"{bench.path}: asset {unit.tag} is a {unit.model}, and this bench is for "
            f"{', '.join(models)}.",
            "Nothing was switched on.",
            "Take the bench file for that model, or add its generator under [[generators]].",
        )
        self.unit = unit


_SIMULATED_SERIAL = re.compile(r"S(\d{6})")
"""The serial number of a simulated unit; the digits are its seed."""


def models_of(bench: BenchData) -> tuple[str, ...]:
    """Return the models of the units that can stand on the bench. Raises SourceError."""
    return tuple(model for _, model in _with_models(bench))


def with_unit(bench: BenchData, unit: RegisteredAsset) -> BenchData:
    """Return the bench with a unit of the register on it, and the generator of its model.

    A simulated unit is the one whose serial number the simulator gives it, where the register
    has such a one. Raises NoGeneratorError where the bench has no generator of the model.
    """
    data = _with_generator(bench, _entry_of_model(bench, unit))
    data = replace(data, file=data.file.model_copy(update={"asset": unit.unit}))
    seed = _SIMULATED_SERIAL.fullmatch(unit.serial)
    if seed is None or not data.file.in_process:
        return data
    stated = data.certificate  # the simulator's analyzers are numbered with their units
    any_analyzer = None if stated is None else stated.model_copy(update={"serial": None})
    return replace(data, certificate=any_analyzer).with_seed(int(seed[1]))


def for_model(bench: BenchData, model: str) -> BenchData:
    """Return the bench with its generator of a model; as it is where it has no such one."""
    entries = _with_models(bench)
    entry = next((entry for entry, known in entries if known == model), bench.file.generator)
    return bench if entry == bench.file.generator else _with_generator(bench, entry)


def _with_generator(bench: BenchData, entry: InstrumentEntry) -> BenchData:
    """Return the bench with one generator, and no identity that it should have."""
    chosen = {"generator": entry.model_copy(update={"identity": ""}), "generators": ()}
    return read_bench_of(bench.file.model_copy(update=chosen), bench.path, bench.documents[:1])


def _entry_of_model(bench: BenchData, unit: RegisteredAsset) -> InstrumentEntry:
    """Return the generator that is of the unit's model. Raises NoGeneratorError where none is."""
    models: list[str] = []
    for entry, model in _with_models(bench):
        if model == unit.model:
            return entry
        models.append(model)
    raise NoGeneratorError(bench, unit, models)


def _with_models(bench: BenchData) -> Iterator[tuple[InstrumentEntry, str]]:
    """Yield each generator of a bench file with its model."""
    further = [(("generators", n), entry) for n, entry in enumerate(bench.file.generators)]
    for place, entry in ((("generator",), bench.file.generator), *further):
        where = data_file(entry.data, bench.path, "generators", (*place, "data"))
        yield entry, load(where, GeneratorData, table="data").model
