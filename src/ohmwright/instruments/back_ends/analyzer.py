"""An analyzer that a back end from outside works: what it says is checked before it is believed."""

from __future__ import annotations

from functools import cached_property

from ohmwright.instruments.analyzer import Analyzer, GuardProof, Reading, WaveformCapture
from ohmwright.instruments.declared_protections import declared_protections
from ohmwright.instruments.guard_proof import guard_proof
from ohmwright.instruments.running_limit import refuse_another_limit
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.model.protections import Protections
from ohmwright.wire.link import Link
from ohmwright.wire.off import NOTHING_TELLS, OffAnswer

from . import checked
from .base import AnalyzerBackEnd
from .release_line import ReleaseLine
from .verified_calls import VerifiedCalls

_SPARE_S = 0.5


class BackEndAnalyzer(Analyzer):
    """Calls a back end's methods; OFF and the state go by its release orders where it has any.

    So a back end that hangs or fails cannot keep OFF from being sent and read back.
    """

    told_in = "the release orders of the analyzer's back end"

    def __init__(
        self,
        back_end: AnalyzerBackEnd,
        data: AnalyzerData,
        calls: VerifiedCalls,
        link: Link | None,
        release: ReleaseLine | None,
    ) -> None:
        self.data, self._back_end, self._calls = data, back_end, calls
        self._link, self._release = link, release
        self.verbs = calls.verbs

    @cached_property
    def protections(self) -> Protections:
        """The protections that its data, its methods and its line give."""
        link, verbs = self._link, self._calls.verbs
        return declared_protections(
            self.data,
            verbs,
            proved="resynchronise" in verbs,
            guarded=link is not None and link.guarded,
            harmless=link is not None and link.harmless,
        )

    def sent_limit_s(self, limit_s: float) -> float | None:
        """The limit in s that the back end says ON would carry; None where ON carries none.

        Raises ProtocolError where that is longer than `limit_s`.
        """
        if self.data.activation.max_limit_s is None:
            return None
        try:
            sent_s = checked.number(self._back_end.sent_limit_s(limit_s))
        except Exception as problem:
            raise self._calls.nonsense("sent_limit_s", str(problem)) from None
        if not 0 < sent_s <= limit_s:
            raise self._calls.nonsense("sent_limit_s", f"{sent_s:g} s for {limit_s:g} s")
        return sent_s

    async def identify(self) -> str:
        """The identity, which must stay what it was; over a proven line where that can be had."""
        return await self._calls.identify()

    async def set_load(self, load_ohm: float) -> None:
        """Connect the load resistance `load_ohm`; return when it reads back, where it can."""
        await self._calls.set_number("set_load", "load", load_ohm)

    async def load_connected_ohm(self) -> float | None:
        """The load resistance that it says is connected; None where it does not tell."""
        if not self.protections.load_read_back:
            return None
        return await self._calls.agreed("load", checked.number)

    async def set_path(self, path: InputPath) -> None:
        """Join the input to a circuit; return when it reads back, where it can."""
        await self._calls.set_text("set_path", "path", path)

    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        """Connect `resistance_ohm` between the halves of the neutral electrode."""
        await self._calls.set_number("set_contact", "contact", resistance_ohm)

    async def switch_on(self, limit_s: float) -> None:
        """Call ON once with its limit; return when that reads back as running, where it can."""
        sent_s = self.sent_limit_s(limit_s) or limit_s
        await self._calls.tell("on", sent_s)
        left_s = await self.left_s()
        if left_s is not None:
            await refuse_another_limit(self, left_s, sent_s, "the back end")

    async def switch_off(self) -> None:
        """Send OFF at once."""
        if self._release is None:
            await self._calls.tell("off")
        else:
            await self._release.switch_off()

    @property
    def off_answer(self) -> OffAnswer:
        """What came after the last OFF by its release orders."""
        return NOTHING_TELLS if self._release is None else self._release.off_answer

    async def output_on(self) -> bool:
        """Whether the output reads on, or one of two answers says so."""
        if self._release is not None:
            return await self._release.reads_on()
        return await self._calls.agreed("state", checked.yes_or_no)

    async def fetch_current(self) -> Reading:
        """The latest completed reading of the load current."""
        return await self._fetch("fetch_current")

    async def fetch_leakage(self) -> Reading:
        """The latest completed reading of the HF leakage current."""
        return await self._fetch("fetch_leakage")

    async def left_s(self) -> float | None:
        """Seconds left of the limit; None where the back end cannot tell."""
        if not self.protections.limit_read_back:
            return None
        return await self._calls.ask("remaining", checked.number)

    async def capture_waveform(self) -> WaveformCapture:
        """The latest waveform."""
        if not self.data.waveform:
            return await super().capture_waveform()
        return await self._calls.ask("fetch_waveform", checked.waveform)

    async def _fetch(self, verb: str) -> Reading:
        """A reading that is possible."""
        read = await self._calls.reading(verb)
        if why := self.impossible(read.current_ma):
            raise self._calls.nonsense(verb, why)
        return read

    async def begin_watch(self, silent_s: float = 0.0) -> None:
        """Promise the guard traffic within one call, two readings and 0.5 s."""
        if self._link is not None:
            every_s = self._calls.within_s + 2 / self.data.meter.readings_per_s + _SPARE_S
            await self._link.expect_traffic(every_s + silent_s)

    async def end_watch(self) -> None:
        """Take the promise to the guard back."""
        if self._link is not None:
            await self._link.expect_traffic(None)

    async def until_failed(self) -> None:
        """Return when the line has failed."""
        if self._link is None:
            await super().until_failed()
        else:
            await self._link.until_failed()

    async def reconnect(self) -> bool:
        """Whether a lost line was found again and the back end made ready on it."""
        if self._link is None or not await self._link.reconnect():
            return False
        self._calls.suspect()
        await self._calls.tell("open")
        return True

    async def prove_watchdog(self) -> GuardProof | None:
        """Break the promise to the guard; what was read before and after. None without a guard."""
        if self._link is None:
            return None

        async def asked_anew() -> None:
            self._calls.suspect()

        return await guard_proof(self, self._link, asked_anew, check=self.told_in)

    async def aclose(self) -> None:
        """Have the back end close what it has opened by itself. Raises LinkError."""
        await self._calls.tell("close")
