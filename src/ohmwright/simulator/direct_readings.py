"""What the simulated analyzer would answer, without a line: the same digits, no bytes."""

from __future__ import annotations

from collections.abc import Callable
from math import inf, nan

from ohmwright.instruments.analyzer import Reading

from .rig import Rig


class DirectReadings:
    """State and readings of the simulated analyzer, asked in this process."""

    def __init__(self, rig: Rig, catch_up: Callable[[], None]) -> None:
        self._rig, self._catch_up, self._meter = rig, catch_up, rig.plant.meter

    @property
    def contact_closed(self) -> bool:
        """Whether the keying output is closed."""
        self._catch_up()
        return self._rig.contact_closed

    @property
    def left_s(self) -> float:
        """Seconds left of the limit that came with ON; 0 when the output is open."""
        self._catch_up()
        return self._rig.left_s

    def current(self) -> Reading | None:
        """The latest completed reading; None above the meter's range, which is an error."""
        self._catch_up()
        meter = self._meter
        value_ma = meter.value_ma
        if value_ma is None:
            return Reading(nan, 0)
        if value_ma == inf:
            return None
        # an ampere with the digits that the instrument shows, as its reply would carry it
        return Reading(float(f"{value_ma / 1000:.5E}") * 1000, meter.number)

    def leakage(self) -> Reading | None:
        """The latest completed reading of the HF leakage; without a value on another path."""
        return self.current() if self._rig.path == "LEAKAGE" else Reading(nan, 0)
