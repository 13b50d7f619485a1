"""What invented instruments say that they are: an analyzer and a unit never share a number."""

from __future__ import annotations

from ohmwright.model.hardware import AnalyzerData, GeneratorData


def analyzer_identity(data: AnalyzerData, seed: int) -> str:
    """Return maker, model, serial number and firmware of the analyzer that `seed` makes."""
    return f"{data.maker},{data.model},A{seed:06d},1.0"


def generator_identity(data: GeneratorData, seed: int) -> str:
    """Return the same of the unit under test."""
    return f"{data.maker},{data.model},{generator_serial(seed)},1.0"


def generator_serial(seed: int) -> str:
    """Return the serial number of the unit under test, which stands on its plate, too."""
    return f"S{seed:06d}"
