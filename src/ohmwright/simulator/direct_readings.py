"""What the simulated analyzer would answer, without a line: the same digits, no bytes."""

from __future__ import annotations

from functools import lru_cache
from math import inf, nan

from ohmwright.instruments.analyzer import Reading

from .meter import shown_a
from .rig import Rig


class DirectReadings:
    """State and readings of the simulated analyzer, asked in this process."""

    def __init__(self, rig: Rig) -> None:
        self._rig, self._meter = rig, rig.plant.meter

    @property
    def contact_closed(self) -> bool:
        """Whether the keying output is closed."""
        self._rig.catch_up()
        return self._rig.contact_closed

    @property
    def left_s(self) -> float:
        """Seconds left of the limit that came with ON; 0 when the output is open."""
        self._rig.catch_up()
        return self._rig.left_s

    def current(self) -> Reading | None:
        """The latest completed reading; None above the meter's range, which is an error."""
        self._rig.catch_up()
        meter = self._meter
        value_ma = meter.value_ma
        if value_ma is None:
            return Reading(nan, 0)
        if value_ma == inf:
            return None
        return Reading(_as_replied_ma(value_ma), meter.number)

    def leakage(self) -> Reading | None:
        """The latest completed reading of the HF leakage; without a value on another path."""
        return self.current() if self._rig.path == "LEAKAGE" else Reading(nan, 0)


@lru_cache(maxsize=4096)  # readings of an output that stands are of few figures
def _as_replied_ma(value_ma: float) -> float:
    """A reading in mA with the digits in which a reply carries it, in A."""
    return float(shown_a(value_ma)) * 1000
