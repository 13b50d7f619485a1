"""An analyzer behind a command set, over any line."""

from __future__ import annotations

import numpy as np

from ohmwright.model.errors import ProtocolError, ReleaseNotConfirmed, SourceError
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.model.protections import Protections
from ohmwright.wire.command_set import Ask, CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.scpi import parse_number
from ohmwright.wire.verified_dialogue import VerifiedDialogue

from .analyzer import Analyzer, GuardProof, Reading, WaveformCapture

_SPARE_S = 0.5
_PLAUSIBLE = 1.5
"""No meter shows more than so many times its range; SCPI's stand-in for an overload does."""
_MA = {"A": 1000.0, "mA": 1.0}
_LIMIT_SLACK_S = 2.0
"""So much of the limit may have passed when it is read back: a slow reply, asked again."""


class RemoteAnalyzer(Analyzer):
    """Translates verbs into messages; what the instrument answers decides, not what it was told."""

    def __init__(self, data: AnalyzerData, dialogue: Dialogue, identity: str = "") -> None:
        check_limit_agreement(data, dialogue.commands)
        self.data = data
        self.dialogue = dialogue
        self.verbs = dialogue.commands.verbs
        self._verified = VerifiedDialogue(dialogue, identity)
        self._unit = dialogue.commands.current_unit
        self._to_ma = _MA[self._unit]

    @property
    def protections(self) -> Protections:
        """As its data and command set say, and whether a guard owns its port."""
        commands = self.dialogue.commands
        return Protections(
            limit_in_on=commands.carries_limit,
            single_shot=self.data.activation.single_shot,
            ceiling="set_ceiling" in commands.tell and commands.can_ask("ceiling"),
            limit_read_back=commands.carries_limit and commands.can_ask("remaining"),
            guard=self.dialogue.framing.link.guarded,
            state_read_back=commands.can_ask("state"),
            load_read_back=commands.can_ask("load"),
            path_set="set_path" in commands.tell,
            path_read_back="set_path" in commands.tell and commands.can_ask("path"),
            line_proof=commands.can_ask("resynchronise"),
        )

    def sent_limit_s(self, limit_s: float) -> float | None:
        """As the command set writes it."""
        return self.dialogue.commands.sent_limit_s(limit_s)

    async def identify(self) -> str:
        """The identification; the line is proven by it."""
        return await self._verified.identify()

    async def set_load(self, load_ohm: float) -> None:
        """Choose a load resistance and see that it is the one connected."""
        await self._verified.set_number("set_load", "load", load_ohm, load_ohm=load_ohm)

    async def set_path(self, path: InputPath) -> None:
        """Choose the input circuit. Raises SourceError where the command set cannot say it."""
        await self._verified.set_name("set_path", "path", path, path=path)

    async def switch_on(self, limit_s: float) -> None:
        """Send ON with its limit, once, and see that the limit is the one that runs.

        Where there is a ceiling the analyzer then refuses a longer limit: a digit that changes in
        ON must not hold RF on for longer, for after it the line may take no OFF any more.
        """
        sent_s = self.sent_limit_s(limit_s) or limit_s
        if "set_ceiling" in self.dialogue.commands.tell:
            await self._verified.set_number("set_ceiling", "ceiling", sent_s, limit_s=sent_s)
        await self.dialogue.tell("on", limit_s=sent_s)
        if self.protections.limit_read_back:
            await self._see_limit(sent_s)

    async def switch_off(self) -> None:
        """Send OFF at once."""
        await self.dialogue.tell_at_once("off")

    async def output_on(self) -> bool:
        """Anything but a plain 0 counts as on."""
        return await self._verified.number("state") != 0

    async def fetch_current(self) -> Reading:
        """The load current."""
        return await self._fetch("fetch_current")

    async def fetch_leakage(self) -> Reading:
        """The leakage current."""
        return await self._fetch("fetch_leakage")

    async def glance(self) -> tuple[bool, float]:
        """One question each."""
        on = await self.dialogue.ask_number("state") != 0
        value, _ = await self.dialogue.ask_reading("fetch_current", self._unit)
        return on, value * self._to_ma

    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        """Choose the contact resistance."""
        await self._verified.set_number(
            "set_contact", "contact", resistance_ohm, contact_ohm=resistance_ohm
        )

    async def left_s(self) -> float | None:
        """Asked once: it runs down, so two answers need not agree."""
        if not self.protections.limit_read_back:
            return None
        return await self.dialogue.ask_number("remaining")

    async def _see_limit(self, limit_s: float) -> None:
        """Ask twice at most: what is left runs down, so two answers need not agree."""
        left_s = await self.dialogue.ask_number("remaining")
        if not _runs(left_s, limit_s):
            left_s = await self.dialogue.ask_number("remaining")
        if left_s == 0:
            raise ReleaseNotConfirmed(
                "RF MAY BE ON ELSEWHERE: ON was taken without complaint, yet no activation runs.",
                "Another instrument on the line may have taken it.",
                "Switch off at its mains switch every generator connected to this bench, then "
                "check the cabling.",
            )
        if not _runs(left_s, limit_s):
            raise ProtocolError(
                f"The analyzer would hold RF on for {left_s:g} s, not for {limit_s:g} s.",
                "RF is switched off again.",
                "Check the analyzer's command set, and the cabling.",
            )

    async def _fetch(self, verb: Ask) -> Reading:
        value, number = await self._verified.reading(verb, self._unit)
        current_ma = value * self._to_ma
        if abs(current_ma) > _PLAUSIBLE * self.data.meter.max_current_ma:
            raise ProtocolError(
                f"The analyzer reads {current_ma:g} mA; its meter ends at "
                f"{self.data.meter.max_current_ma:g} mA.",
                "The output is far beyond its range, or the reply was damaged; no value was taken.",
                "Check generator setting, load and cabling before RF is switched on again.",
            )
        return Reading(current_ma, number)

    async def capture_waveform(self) -> WaveformCapture:
        """The samples, as 16-bit counts with the high byte first, and their two scales."""
        if not self.data.waveform:
            return await super().capture_waveform()
        block = await self._verified.block("fetch_waveform")
        if len(block) < 2 or len(block) % 2:
            raise ProtocolError(
                f"A waveform of {len(block)} bytes came; its samples have 2 bytes each.",
                "No waveform was taken from it.",
                "Check 'fetch_waveform' in the analyzer's command set, and the cabling.",
            )
        counts = np.frombuffer(block, ">i2")
        scales = await self._verified.text("waveform_scale")
        try:
            amps_per_count, interval_s = (parse_number(part) for part in scales.split(","))
        except ValueError:
            raise ProtocolError(
                f"{scales[:80]!r} came where amperes a count and seconds a sample were asked for.",
                "The waveform means nothing without them.",
                "Check 'waveform_scale' in the analyzer's command set.",
            ) from None
        return WaveformCapture(counts.astype(np.int16), amps_per_count, interval_s)

    async def begin_watch(self, silent_s: float = 0.0) -> None:
        """Promise traffic: a query that times out, two readings, and half a second to spare."""
        every_s = self.dialogue.commands.timeout_s + 2 / self.data.meter.readings_per_s + _SPARE_S
        await self.dialogue.framing.link.expect_traffic(every_s + silent_s)

    async def end_watch(self) -> None:
        """Take the promise back."""
        await self.dialogue.framing.link.expect_traffic(None)

    async def until_failed(self) -> None:
        """Wait on the line."""
        await self.dialogue.framing.link.until_failed()

    async def reconnect(self) -> bool:
        """Look for the line."""
        return await self.dialogue.reconnect()

    async def prove_watchdog(self) -> GuardProof | None:
        """Break a promise on purpose; what it does is read back before and after."""
        closed_before = await self.output_on()
        off_after_s = await self.dialogue.framing.link.prove_watchdog()
        if off_after_s is None:
            return None
        await self.dialogue.resynchronise()
        if await self.output_on():
            raise ProtocolError(
                "The guard's OFF read back as off to the guard, yet the output reads closed.",
                "Nobody can rely on it; RF is switched off again.",
                "Check 'off' and 'state' in the analyzer's command set, and the cabling.",
            )
        return GuardProof(closed_before, off_after_s)


def check_limit_agreement(data: AnalyzerData, commands: CommandSet) -> None:
    """Raise SourceError where data and command set disagree on the limit that ON carries."""
    stated = data.activation.max_limit_s is not None
    if stated == commands.carries_limit:
        return
    carries = "carries one" if commands.carries_limit else "carries none"
    says = "state the largest" if stated else "state none"
    raise SourceError(
        f"The data of {data.model} {says} time limit (max_limit_s) of its ON; 'on' of command set "
        f"'{commands.name}' {carries} ({{limit_s}}).",
        "Nobody could tell whether the analyzer ends an activation by itself. Nothing was "
        "switched on.",
        "Correct the one or the other from the analyzer's manual.",
    )


def _runs(left_s: float, limit_s: float) -> bool:
    rounding_s = 1e-5 * limit_s
    return limit_s - _LIMIT_SLACK_S <= left_s <= limit_s + rounding_s
