"""What a bench is simulated from: the physics in the data files of its instruments."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from ohmwright.model.errors import SourceError
from ohmwright.model.source import load, read_text
from ohmwright.model.toml_text import decoded
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile


class SimulationProfiles(NamedTuple):
    """What a simulated bench is simulated from."""

    analyzer: AnalyzerProfile
    generator: GeneratorProfile


def read_simulation_profiles(analyzer_path: Path, generator_path: Path) -> SimulationProfiles:
    """Read the simulation profiles in two data files. Raises SourceError where one has none."""
    _refuse_without_physics(generator_path)
    return SimulationProfiles(
        load(analyzer_path, AnalyzerProfile), load(generator_path, GeneratorProfile)
    )


def _refuse_without_physics(generator_path: Path) -> None:
    """Raise SourceError for data that say nothing of how the unit is simulated."""
    if "physics" not in decoded(generator_path, read_text(generator_path), SourceError):
        raise SourceError(
            f"{generator_path}: has no table [physics], from which the unit could be simulated.",
            "Nothing was opened. A real bench needs none.",
            "Copy one as 'ohmwright guide generators' says under 'Simulated units'.",
        )
