"""The circuit between generator and analyzer during one activation: what is driven into what."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, log

from ohmwright.model.hardware import AnalyzerData, InputPath

from .bench_defects import BenchDefects
from .generator import SimulatedGenerator
from .load_bank import Resistor
from .waveforms import pass_band

_RELATIVE_STEP = 1.001
"""By so much the load resistance is changed to see how the current follows it."""


@dataclass(frozen=True, slots=True)
class Circuit:
    """What the output works into during one activation."""

    target_ma: float
    """Current in mA that a cold output stage settles at, without lag."""
    resistance_ohm: float
    sensitivity: float
    """-d ln I / d ln R there, by which a load that warms changes the current."""
    pass_band: float
    """Share of the RMS value that the meter's bandwidth lets through."""
    heats_bank: bool
    """Whether the load bank is what takes the power."""


def circuit_through(
    path: InputPath,
    load: Resistor,
    generator: SimulatedGenerator,
    analyzer: AnalyzerData,
    defects: BenchDefects,
) -> Circuit:
    """The circuit for an input path, with `load` connected; an open one carries no current."""
    mode = generator.unit.modes[generator.mode]
    bandwidth_hz = analyzer.meter.bandwidth_hz
    seen = pass_band(mode.waveform, inf if bandwidth_hz is None else bandwidth_hz)
    if defects.lead_off or path in defects.disconnected_paths:
        return _open_circuit(seen)
    if path == "OUTPUT":
        reactance_ohm = load.reactance_ohm(mode.waveform.carrier_hz)
        current = generator.current_ma(load.resistance_ohm, reactance_ohm)
        warmer = generator.current_ma(_RELATIVE_STEP * load.resistance_ohm, reactance_ohm)
        sensitivity = -log(warmer / current) / log(_RELATIVE_STEP) if current > 0 else 0.0
        return Circuit(current, load.resistance_ohm, sensitivity, seen, True)
    if path == "LEAKAGE" and analyzer.leakage_load_ohm is not None:
        return Circuit(generator.leakage_ma(), analyzer.leakage_load_ohm, 0.0, seen, False)
    return _open_circuit(seen)


def _open_circuit(seen: float) -> Circuit:
    return Circuit(0.0, 1.0, 0.0, seen, False)
