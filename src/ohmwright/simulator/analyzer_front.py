"""The simulated analyzer's knobs and display, for hands and eyes."""

from __future__ import annotations

from math import log10

from ohmwright.model.hardware import InputPath

from .rig import Rig


class AnalyzerFront:
    """The front of the analyzer. Raises CommandError for what it refuses, as its port does."""

    def __init__(self, rig: Rig) -> None:
        self._rig = rig

    def turn_load(self, load_ohm: float) -> None:
        """Turn the load knob to `load_ohm`."""
        self._rig.catch_up()
        self._rig.set_load(load_ohm)

    def join(self, path: InputPath) -> None:
        """Plug the lead into another circuit."""
        self._rig.catch_up()
        self._rig.set_path(path)

    def turn_contact(self, resistance_ohm: float) -> None:
        """Turn the knob of the contact quality circuit to `resistance_ohm`."""
        self._rig.catch_up()
        self._rig.set_contact(resistance_ohm)

    @property
    def shown(self) -> str:
        """What the display shows: the latest reading in mA, with every digit that it has."""
        self._rig.catch_up()
        meter = self._rig.plant.meter
        places = max(0, -round(log10(meter.data.resolution_ma)))
        return f"{meter.value_ma or 0.0:.{places}f}"
