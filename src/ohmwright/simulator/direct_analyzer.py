"""A simulated analyzer that is asked in this process for readings and state, for speed."""

from __future__ import annotations

from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer
from ohmwright.model.hardware import AnalyzerData
from ohmwright.wire.dialogue import Dialogue

from .direct_readings import DirectReadings


class DirectAnalyzer(RemoteAnalyzer):
    """Answers what a job asks most often from `readings`; all else goes over its line.

    Faults of the line do not touch these answers, so it is for rehearsals on a line without any.
    """

    def __init__(
        self, data: AnalyzerData, dialogue: Dialogue, identity: str, readings: DirectReadings
    ) -> None:
        super().__init__(data, dialogue, identity)
        self._readings = readings
        self._numbered = "number" in dialogue.commands.reading

    async def output_on(self) -> bool:
        """Whether the keying output is closed."""
        return self._readings.contact_closed

    async def left_s(self) -> float | None:
        """Seconds left of the limit; None where the command set cannot ask for it."""
        return self._readings.left_s if self.protections.limit_read_back else None

    async def fetch_current(self) -> Reading:
        """The latest completed reading; above the meter's range over the line, which refuses it."""
        reading = self._readings.current()
        return await super().fetch_current() if reading is None else self._as_replied(reading)

    async def fetch_leakage(self) -> Reading:
        """The latest completed reading of the HF leakage current."""
        reading = self._readings.leakage()
        return await super().fetch_leakage() if reading is None else self._as_replied(reading)

    async def glance(self) -> tuple[bool, float]:
        """Whether the output is closed, and the load current in mA."""
        return self._readings.contact_closed, (await self.fetch_current()).current_ma

    def _as_replied(self, reading: Reading) -> Reading:
        """The reading without its number where the command set carries none."""
        return reading if self._numbered else reading._replace(number=None)
