"""An analyzer spoken to through a command set, over any line."""

from __future__ import annotations

from collections.abc import Coroutine
from functools import cached_property
from math import copysign, isfinite, sqrt
from typing import Any

import numpy as np

from ohmwright.model.errors import ProtocolError, SourceError
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.model.protections import Protections
from ohmwright.wire.command_set import Ask, CommandSet
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.exchange import MeasuredReply
from ohmwright.wire.line_proof import is_proved
from ohmwright.wire.off import OffAnswer, OffTeller
from ohmwright.wire.verified_dialogue import VerifiedDialogue

from .analyzer import Analyzer, GuardProof, Reading, WaveformCapture
from .declared_protections import declared_protections
from .guard_proof import guard_proof
from .running_limit import limit_runs, refuse_another_limit

_SPARE_S = 0.5


class RemoteAnalyzer(Analyzer):
    """Sends each verb as a message, and reads back what the instrument made of it."""

    def __init__(self, data: AnalyzerData, dialogue: Dialogue, identity: str = "") -> None:
        check_limit_agreement(data, dialogue.commands)
        self.data = data
        self.dialogue = dialogue
        self.verbs = dialogue.commands.verbs
        current = dialogue.commands.compiled.exchanges.get("fetch_current")
        self.shows_power = current is not None and current.asked == "power_w"
        self._verified = VerifiedDialogue(dialogue, identity)
        self._off = OffTeller(dialogue)

    @cached_property
    def protections(self) -> Protections:
        """The protections that its data, its command set and its line give."""
        link, commands = self.dialogue.framing.link, self.dialogue.commands
        return declared_protections(
            self.data,
            commands.verbs,
            proved=is_proved(commands),
            guarded=link.guarded,
            harmless=link.harmless,
        )

    def sent_limit_s(self, limit_s: float) -> float | None:
        """The limit in s as the command set writes it into ON; None where ON carries none."""
        return self.dialogue.commands.sent_limit_s(limit_s)

    async def identify(self) -> str:
        """The identification, over a line that was proven to carry every digit."""
        return await self._verified.identify()

    async def set_load(self, load_ohm: float) -> None:
        """Connect the load resistance `load_ohm`; return when it reads back as connected."""
        self.load_ohm = None
        await self._verified.set_number("set_load", "load", load_ohm, load_ohm=load_ohm)
        self.load_ohm = load_ohm

    async def load_connected_ohm(self) -> float | None:
        """The load resistance that it says is connected; None where it does not tell."""
        if not self.protections.load_read_back:
            return None
        return await self._verified.number("load")

    async def set_path(self, path: InputPath) -> None:
        """Choose the input circuit. Raises SourceError where the command set cannot say it."""
        await self._verified.set_name("set_path", "path", path, path=path)

    async def switch_on(self, limit_s: float) -> None:
        """Send ON with its limit, once; return when that limit reads back as running.

        Where the analyzer has a ceiling it then refuses a longer limit: a digit changed on the line
        must not hold RF on for longer, since after ON the line may carry no OFF. Until RF was read
        as off a line that falls out of step is tried once: OFF is not to wait for more.
        """
        carried_s = self.sent_limit_s(limit_s)
        sent_s = limit_s if carried_s is None else carried_s
        if "set_ceiling" in self.dialogue.commands.tell:
            await self._verified.set_number("set_ceiling", "ceiling", sent_s, limit_s=sent_s)
        if "arm" in self.dialogue.commands.tell:
            await self.dialogue.tell("arm", limit_s=sent_s)
        self.dialogue.try_once()
        self.on_since_s = self.dialogue.framing.now_s()  # it may be on where no answer comes
        self.on_since_s = await self.dialogue.tell("on", limit_s=sent_s)
        if self.protections.limit_read_back:
            await self._see_limit(sent_s)

    async def switch_off(self) -> None:
        """Send OFF at once; on a line out of step the next OFF does not wait for more tries."""
        self.dialogue.try_once()
        await self._off.tell("off")

    @property
    def off_answer(self) -> OffAnswer:
        """What was said to the last OFF, where its command set has an answer for it."""
        return self._off.answer

    async def late_off_s(self) -> float | None:
        """Seconds that its answers take where the one to OFF would be late; None where not."""
        return await self._off.late_s("off")

    async def output_on(self) -> bool:
        """Whether the output reads on: anything but a plain 0."""
        return await self._verified.number("state") != 0

    def fetch_current(self) -> Coroutine[Any, Any, Reading]:
        """The latest completed reading of the load current."""
        return self._fetch("fetch_current")

    def fetch_leakage(self) -> Coroutine[Any, Any, Reading]:
        """The latest completed reading of the HF leakage current."""
        return self._fetch("fetch_leakage")

    async def glance(self) -> tuple[bool, float]:
        """Whether the output reads on, and the load current in mA, each asked only once."""
        on = await self.dialogue.ask_number("state") != 0
        shown, _ = await self.dialogue.ask_reading("fetch_current")
        return on, abs(self._current_ma("fetch_current", shown))

    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        """Connect `resistance_ohm` between the halves of the neutral electrode."""
        await self._verified.set_number(
            "set_contact", "contact", resistance_ohm, contact_ohm=resistance_ohm
        )

    async def left_s(self) -> float | None:
        """Seconds left of the limit; asked once, for two answers would differ."""
        if not self.protections.limit_read_back:
            return None
        return await self.dialogue.ask_number("remaining")

    async def _see_limit(self, limit_s: float) -> None:
        """Raise where another limit runs than the one sent; asked twice at most."""
        left_s = await self.dialogue.ask_number("remaining")
        if not limit_runs(left_s, limit_s):
            left_s = await self.dialogue.ask_number("remaining")
        await refuse_another_limit(self, left_s, limit_s, "the analyzer's command set")

    async def _fetch(self, verb: Ask) -> Reading:
        current_ma, number = await self._read(verb)
        if why := self.impossible(current_ma):
            current_ma, number = await self._asked_again(verb, current_ma, why)
        return Reading(current_ma, number)

    async def _read(self, verb: Ask) -> MeasuredReply:
        shown, number = await self._verified.reading(verb)
        return self._current_ma(verb, shown), number

    def _current_ma(self, verb: Ask, shown: float) -> float:
        """The current in mA that the meter shows, or that drives the power shown into the load.

        Where no load is known yet it is the largest current: with the smallest load.
        """
        if verb != "fetch_current" or not self.shows_power:
            return shown
        load_ohm = self.load_ohm or min(self.data.load_bank.loads_ohm)
        return copysign(1000 * sqrt(abs(shown) / load_ohm), shown)

    async def _asked_again(self, verb: Ask, impossible_ma: float, why: str) -> MeasuredReply:
        """The next reading, where a single damaged reply may have made an impossible one of it.

        Raises ProtocolError where the next one is no better, where the impossible one was said
        twice already, and for infinity, which is what an instrument says of an overload.
        """
        if isfinite(impossible_ma) and not self._verified.is_said_twice(verb):
            again = current_ma, _ = await self._read(verb)
            if isfinite(current_ma) and not self.impossible(current_ma):
                self.on_unused_reading(
                    f"the analyzer read {why}; that was not used. Asked once more it read "
                    f"{current_ma:.10g} mA"
                )
                return again
        raise ProtocolError(
            f"The analyzer reads {why}.",
            "The output is far beyond its range, or the reply was damaged; no value was taken.",
            "Check generator setting, load and cabling before RF is switched on again.",
        )

    async def capture_waveform(self) -> WaveformCapture:
        """The latest waveform: 16-bit counts, A a count, s a sample.

        It is asked for once, since two differ rightly: a changed sample shows in the scatter of the
        captures that make a value.
        """
        if not self.data.waveform:
            return await super().capture_waveform()
        block = await self.dialogue.ask_block("fetch_waveform")
        if len(block) < 2 or len(block) % 2:
            raise ProtocolError(
                f"A waveform of {len(block)} bytes came; its samples have 2 bytes each.",
                "No waveform was taken from it.",
                "Check 'fetch_waveform' in the analyzer's command set, and the cabling.",
            )
        counts = np.frombuffer(block, ">i2")
        scales = await self._verified.values("waveform_scale")
        amps_per_count = float(scales["amps_per_count"])
        interval_s = float(scales["interval_s"])
        return WaveformCapture(counts.astype(np.int16), amps_per_count, interval_s)

    async def begin_watch(self, silent_s: float = 0.0) -> None:
        """Promise the guard traffic within a query's time-out, two readings and 0.5 s."""
        every_s = self.dialogue.commands.longest_s + 2 / self.data.meter.readings_per_s + _SPARE_S
        await self.dialogue.framing.link.expect_traffic(every_s + silent_s)

    async def end_watch(self) -> None:
        """Take the promise to the guard back, for RF was read as off."""
        self.dialogue.try_as_usual()
        await self.dialogue.framing.link.expect_traffic(None)

    async def until_failed(self) -> None:
        """Return when the line has failed."""
        await self.dialogue.framing.link.until_failed()

    async def reconnect(self) -> bool:
        """Whether a lost line was found again."""
        return await self.dialogue.reconnect()

    async def prove_watchdog(self) -> GuardProof | None:
        """Break the promise to the guard; what was read before and after. None without a guard."""
        return await guard_proof(
            self,
            self.dialogue.framing.link,
            self.dialogue.resynchronise,
            check=f"'off' and 'state' in {self.told_in}",
        )


def check_limit_agreement(data: AnalyzerData, commands: CommandSet) -> None:
    """Raise SourceError where data and command set disagree on the limit that ON carries."""
    stated = data.activation.max_limit_s is not None
    if stated == commands.carries_limit or "on" not in commands.tell:
        return
    carries = "carries one" if commands.carries_limit else "carries none"
    says = "state the largest" if stated else "state none"
    raise SourceError(
        f"The data of {data.model} {says} time limit (max_limit_s) of its ON; 'on' (or 'arm') of "
        f"command set '{commands.name}' {carries} ({{limit_s}}).",
        "Nobody could tell whether the analyzer ends an activation by itself. Nothing was "
        "switched on.",
        "Correct the one or the other from the analyzer's manual.",
    )
