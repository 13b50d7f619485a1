"""The data of a test's bench: its file and profile found beside the test, all of it simulated."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from ohmwright.api.bench_data import BenchData, read_bench
from ohmwright.api.simulated_commands import simulated_commands
from ohmwright.api.simulation_profiles import read_simulation_profiles
from ohmwright.model.bench_file import Simulated, Simulation
from ohmwright.model.errors import UsageError
from ohmwright.model.hardware import GeneratorData
from ohmwright.model.shipped import shipped
from ohmwright.model.source import load
from ohmwright.simulator.faults import LineFault

from .mark import Mark


def simulated_data(folder: Path, root: Path, mark: Mark) -> BenchData:
    """Return the data of a bench as the mark describes it; without a `bench`, of the shipped one.

    Raises OhmwrightError where a file is missing or wrong, or nothing can be simulated of it.
    """
    shipped_bench = shipped("benches", "demo.toml")
    path = shipped_bench if mark.bench is None else found_file(mark.bench, folder, root)
    data = _simulated(read_bench(path), mark)
    if mark.profile is not None:
        data = _with_generator(data, _profile(mark.profile, folder, root))
    return replace(data, faults=tuple(map(LineFault.parse, mark.faults)))


def _simulated(data: BenchData, mark: Mark) -> BenchData:
    """Return the data with both instruments simulated, and with seed and age as asked for."""
    given = mark.model_dump(include={"seed", "age_months"}, exclude_none=True)
    simulation = (data.file.simulation or Simulation()).model_copy(update=given)
    simulated = Simulated(kind="simulated")
    entries: dict[str, object] = {"simulation": simulation, "stepped_time": None}
    entries["analyzer"] = data.file.analyzer.model_copy(update={"link": simulated, "identity": ""})
    if data.file.generator.link is not None:
        entries["generator"] = data.file.generator.model_copy(
            update={"link": simulated, "identity": ""}
        )
    commands = simulated_commands(data)
    return replace(
        data,
        file=data.file.model_copy(update=entries),
        analyzer_commands=commands.analyzer,
        generator_commands=commands.generator,
        analyzer_back_end=None,
        generator_back_end=None,
    )


def _with_generator(data: BenchData, path: Path) -> BenchData:
    """Return the data with another generator data file, its [physics] included."""
    return replace(
        data,
        generator_path=path,
        generator=load(path, GeneratorData, table="data"),
        profiles=read_simulation_profiles(data.analyzer_path, path),
    )


def _profile(name: Path, folder: Path, root: Path) -> Path:
    """Return a generator's data file: a shipped one by its name, else as `found_file`."""
    own = shipped("generators", f"{name}.toml")
    if own.is_file():
        return own
    known = ", ".join(sorted(one.stem for one in shipped("generators").glob("*.toml")))
    return found_file(name, folder, root, f" and among the shipped generators: {known}")


def found_file(name: str | Path, folder: Path, root: Path, also: str = "") -> Path:
    """Return the file `name`, beside the test or below the root folder.

    Raises UsageError, which says `also` where else it was looked for.
    """
    tried = [folder / name, root / name]
    for path in tried:
        if path.is_file():
            return path
    places = " and ".join(map(str, dict.fromkeys(tried)))
    raise UsageError(
        f"There is no file {name}: looked for {places}{also}.",
        do="Give its name as seen from the test's folder or from pytest's root folder.",
    )
