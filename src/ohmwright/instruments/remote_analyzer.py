"""An analyzer behind a command set, over any line."""

from __future__ import annotations

import numpy as np

from ohmwright.model.errors import ProtocolError
from ohmwright.model.hardware import AnalyzerData
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.scpi import parse_number

from .analyzer import Analyzer, Captured, InputPath, Reading

_SPARE_S = 0.5
_MA = {"A": 1000.0, "mA": 1.0}


class RemoteAnalyzer(Analyzer):
    """Translates verbs into messages; what the instrument answers decides, not what it was told."""

    def __init__(self, data: AnalyzerData, dialogue: Dialogue) -> None:
        self.data = data
        self.dialogue = dialogue
        self._unit = dialogue.commands.current_unit
        self._to_ma = _MA[self._unit]
        self._unnumbered = 0

    async def identify(self) -> str:
        """The identification."""
        return await self.dialogue.ask("identify")

    async def set_load(self, load_ohm: float) -> None:
        """Choose a load resistance and see that it is the one connected."""
        await self.dialogue.tell("set_load", load_ohm=load_ohm)
        connected_ohm = await self.dialogue.ask_number("load")
        if abs(connected_ohm - load_ohm) > 1e-3 * load_ohm:
            raise ProtocolError(
                f"The analyzer has {connected_ohm:g} ohm connected, not {load_ohm:g} ohm.",
                "RF stayed off.",
                "Check the analyzer's data file against its manual.",
            )

    async def set_path(self, path: InputPath) -> None:
        """Choose the input circuit, where the analyzer has a choice."""
        if "set_path" in self.dialogue.commands.tell:
            await self.dialogue.tell("set_path", path=path)

    async def switch_on(self, limit_s: float) -> None:
        """Send ON with its limit, once."""
        await self.dialogue.tell("on", limit_s=limit_s)

    async def switch_off(self) -> None:
        """Send OFF at once."""
        await self.dialogue.tell_first("off")

    async def output_on(self) -> bool:
        """Anything but a plain 0 counts as on."""
        return await self.dialogue.ask_number("state") != 0

    async def fetch_current(self) -> Reading:
        """The load current."""
        value, number = await self.dialogue.ask_reading("fetch_current", self._unit)
        return Reading(value * self._to_ma, self._numbered(number))

    async def fetch_leakage(self) -> Reading:
        """The leakage current."""
        value, number = await self.dialogue.ask_reading("fetch_leakage", self._unit)
        return Reading(value * self._to_ma, self._numbered(number))

    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        """Choose the contact resistance."""
        await self.dialogue.tell("set_contact", contact_ohm=resistance_ohm)

    async def capture_waveform(self) -> Captured:
        """The samples, as 16-bit counts with the high byte first, and their two scales."""
        if not self.data.waveform:
            return await super().capture_waveform()
        counts = np.frombuffer(await self.dialogue.ask_block("fetch_waveform"), ">i2")
        scales = await self.dialogue.ask("waveform_scale")
        try:
            amps_per_count, interval_s = (parse_number(part) for part in scales.split(","))
        except ValueError:
            raise ProtocolError(
                f"{scales[:80]!r} came where amperes a count and seconds a sample were asked for.",
                "The waveform means nothing without them.",
                "Check 'waveform_scale' in the analyzer's command set.",
            ) from None
        return Captured(counts.astype(np.int16), amps_per_count, interval_s)

    async def begin_watch(self) -> None:
        """Promise traffic: a query that times out, two readings, and half a second to spare."""
        every_s = self.dialogue.commands.timeout_s + 2 / self.data.meter.readings_per_s + _SPARE_S
        await self.dialogue.framing.link.expect_traffic(every_s)

    async def end_watch(self) -> None:
        """Take the promise back."""
        await self.dialogue.framing.link.expect_traffic(None)

    async def prove_watchdog(self) -> bool:
        """Break a promise on purpose, while the output is off."""
        proved = await self.dialogue.framing.link.prove_watchdog()
        if proved:
            await self.dialogue.resynchronise()
        return proved

    def _numbered(self, number: int | None) -> int:
        """The reading's number; where the instrument gives none each fetch counts as new."""
        if number is None:
            self._unnumbered += 1
            return self._unnumbered
        return number
