"""What a bench is simulated from: the physics in the data files of its instruments."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

from ohmwright.model.source import load
from ohmwright.simulator.profile import AnalyzerProfile, GeneratorProfile


class SimulationProfiles(NamedTuple):
    """What a simulated bench is simulated from."""

    analyzer: AnalyzerProfile
    generator: GeneratorProfile


def read_simulation_profiles(analyzer_path: Path, generator_path: Path) -> SimulationProfiles:
    """Read the simulation profiles in two data files. Raises SourceError where one has none."""
    return SimulationProfiles(
        load(analyzer_path, AnalyzerProfile), load(generator_path, GeneratorProfile)
    )
