"""The abstract bench analyzer: its verbs, its data and its protections."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import NamedTuple

import anyio
import numpy as np
from numpy.typing import NDArray

from ohmwright.model.bench_status import BenchStatus, RfState
from ohmwright.model.by_hand import HandVerb
from ohmwright.model.errors import OutOfCapability
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.model.protections import Protections
from ohmwright.wire.command_set import Verb
from ohmwright.wire.off import NOTHING_TELLS, OffAnswer
from ohmwright.wire.verified_dialogue import same_number

_PLAUSIBLE = 1.5
"""No meter shows more than so many times its range; SCPI's stand-in for an overload does."""


class Reading(NamedTuple):
    """One completed reading of the meter."""

    current_ma: float
    """NaN while the meter has nothing to show."""
    number: int | None = None
    """Larger in a later one; None where the meter numbers none."""
    by_hand: bool = False
    """Whether a person looked and typed it, between the question and now."""


class GuardProof(NamedTuple):
    """What was observed when the guard was made to send OFF."""

    closed_before: bool
    """Whether the keying output read closed just before: without that OFF has nothing to do."""
    off_after_s: float
    """From the broken promise until the guard had read the output back as off."""


class WaveformCapture(NamedTuple):
    """A captured waveform of the load current, as samples in counts."""

    counts: NDArray[np.int16]
    """Shape (n,)."""
    amps_per_count: float
    interval_s: float
    """Time from one sample to the next."""


def _ignore(words: str) -> None:
    """Do nothing about a reading that was not used."""


class Analyzer(ABC):
    """Loads the generator, keys it, and reads its output.

    Every verb may raise LinkTimeout, LinkLost, ProtocolError or InstrumentRefused.
    """

    data: AnalyzerData
    verbs: frozenset[Verb] | None = None
    """What its command set has a message for; None where it is not worked by one."""
    by_hand: frozenset[HandVerb] = frozenset()
    """What a person does in its place."""
    on_unused_reading: Callable[[str], None] = staticmethod(_ignore)
    """Called with a clause that tells of each reading that was asked for once more."""
    told_in = "the analyzer's command set"
    """Where its messages are written, for whoever has to correct one."""
    shows_power = False
    """Whether its meter shows power, and its currents are worked out of that and the load."""
    load_ohm: float | None = None
    """The load that was connected last; None: not known. A meter of power is read by it, and it
    must still be connected where no current is to show that RF is off."""
    on_since_s: float | None = None
    """Since when RF is on, by the bench's clock; None where it is on since ON was called for."""

    @property
    def keyed_by_foot(self) -> bool:
        """Whether a person keeps RF on with the foot switch: then nothing else can end it."""
        return "foot switch" in self.by_hand

    @property
    def read_by_eye(self) -> bool:
        """Whether a person types what the meter shows."""
        return "reading" in self.by_hand

    def status(self, rf: RfState, at_s: float) -> BenchStatus:
        """Return the status at `at_s` of RF as it was read, and by whom it is keyed and read."""
        return BenchStatus(
            rf,
            at_s,
            keyed_by_foot=self.keyed_by_foot,
            read_by_eye=self.read_by_eye,
            digit_ma=self.digit_ma,
        )

    @property
    def released_by_hand(self) -> bool:
        """Whether a release takes a person, to end RF or to say that nothing flows."""
        return self.keyed_by_foot or self.read_by_eye

    @property
    def dating_s(self) -> float:
        """How far the age of the latest activation's readings may be off together, in s."""
        return 0.0

    @property
    def typed_s(self) -> float | None:
        """When a person last typed what the meter shows, in s of the bench's clock; None: never."""
        return None

    @property
    def digit_ma(self) -> float:
        """The coarsest last digit of the latest activation's readings, in mA."""
        return self.data.meter.resolution_ma

    def impossible(self, current_ma: float) -> str:
        """Why its meter cannot have read `current_ma`, as a clause; empty where it can.

        An RMS value is not negative, but for the meter's zero.
        """
        meter = self.data.meter
        if abs(current_ma) > _PLAUSIBLE * meter.max_current_ma:
            return f"{current_ma:.10g} mA, and its meter ends at {meter.max_current_ma:g} mA"
        if current_ma < 0 and -current_ma > meter.largest_zero_ma:
            return f"{current_ma:g} mA, and no RMS current is negative"
        return ""

    @property
    @abstractmethod
    def protections(self) -> Protections:
        """The protections against RF that stays on which this analyzer has on this line."""

    @abstractmethod
    def sent_limit_s(self, limit_s: float) -> float | None:
        """The time limit in s that ON would carry for `limit_s`; None where ON carries none.

        It is never longer; it may be shorter, since instruments take limits in steps.
        """

    @abstractmethod
    async def identify(self) -> str:
        """Maker, model, serial number and firmware, as the instrument says them."""

    @abstractmethod
    async def set_load(self, load_ohm: float) -> None:
        """Connect the load resistance `load_ohm`; return when it reads back as connected."""

    async def load_connected_ohm(self) -> float | None:
        """The load resistance that it says is connected; None where it does not tell."""
        return None

    async def other_load_ohm(self, load_ohm: float) -> float | None:
        """The load that reads back in place of `load_ohm`; None where that does, or none can."""
        connected_ohm = await self.load_connected_ohm()
        if connected_ohm is None or same_number(connected_ohm, load_ohm):
            return None
        return connected_ohm

    @abstractmethod
    async def set_path(self, path: InputPath) -> None:
        """Join the input terminals to the output, leakage or contact quality circuit."""

    @abstractmethod
    async def switch_on(self, limit_s: float) -> None:
        """Key the generator for at most `limit_s` seconds; the limit travels with the command.

        Only `engine.activation` may call this.
        """

    @abstractmethod
    async def switch_off(self) -> None:
        """Send OFF, whatever state the line is in; whether RF is off must be read back."""

    @property
    def off_answer(self) -> OffAnswer:
        """What it said to the last OFF, once the state was asked for after it."""
        return NOTHING_TELLS

    async def late_off_s(self) -> float | None:
        """Seconds that its answers take where the one to OFF would be late; None where not."""
        return None

    @abstractmethod
    async def output_on(self) -> bool:
        """Whether the keying output reads on."""

    @abstractmethod
    async def fetch_current(self) -> Reading:
        """The latest completed reading of the load current."""

    @abstractmethod
    async def fetch_leakage(self) -> Reading:
        """The latest completed reading of the HF leakage current."""

    async def left_s(self) -> float | None:
        """Seconds left of the limit sent with ON; None where the analyzer does not tell."""
        return None

    @abstractmethod
    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        """Connect `resistance_ohm` between the halves of the neutral electrode."""

    async def glance(self) -> tuple[bool, float]:
        """Whether the output reads on, and the load current in mA, each asked only once.

        This may raise the suspicion that RF is on; it cannot show that RF is off.
        """
        return await self.output_on(), (await self.fetch_current()).current_ma

    async def capture_waveform(self) -> WaveformCapture:
        """The waveform that belongs to the latest completed reading.

        Raises OutOfCapability where the analyzer captures none, which is the default.
        """
        raise OutOfCapability(f"{self.data.model} captures no waveform.")

    async def begin_watch(self, silent_s: float = 0.0) -> None:  # noqa: ARG002
        """Have the guard, where there is one, watch the engine until `end_watch`.

        The engine may be silent for `silent_s` seconds longer than a dialogue is, as while a person
        presses keys.
        """
        return

    async def end_watch(self) -> None:
        """End the guard's watch, after the output has read off."""
        return

    def begin_run(self) -> None:  # noqa: B027 - where nothing is typed there is nothing to forget
        """Forget what a person typed before: a run begins with a look of its own."""

    async def until_failed(self) -> None:
        """Return when the line has failed while nobody uses it, where anything can tell."""
        await anyio.sleep_forever()

    async def reconnect(self) -> bool:
        """After LinkLost: whether the analyzer was found again within some seconds.

        It is found again only so that OFF can be sent: it must then identify itself as the analyzer
        that was switched on.
        """
        return False

    async def prove_watchdog(self) -> GuardProof | None:
        """Break the promise to the guard; what its OFF did, as observed. None without a guard.

        Only within an open activation has that OFF something to do; otherwise this shows no more
        than that the guard is awake. Raises LinkError where the guard does not trip or the output
        does not read off.
        """
        return None
