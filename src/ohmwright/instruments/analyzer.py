"""The abstract bench analyzer: few verbs, frozen capabilities."""

from __future__ import annotations

from abc import ABC, abstractmethod
from typing import NamedTuple

import anyio
import numpy as np
from numpy.typing import NDArray

from ohmwright.model.errors import OutOfCapability
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.model.protections import Protections
from ohmwright.wire.command_set import Verb


class Reading(NamedTuple):
    """One completed reading of the meter."""

    current_ma: float
    """NaN while the meter has nothing to show."""
    number: int | None
    """Larger in a later one; None where the meter numbers none, and each fetch counts as new."""


class GuardProof(NamedTuple):
    """What was seen when the guard was made to send OFF."""

    closed_before: bool
    """Whether the keying output read closed just before: without that OFF has nothing to do."""
    off_after_s: float
    """From the broken promise until the guard had read the output back as off."""


class WaveformCapture(NamedTuple):
    """A waveform of the load current: samples of one record, in counts."""

    counts: NDArray[np.int16]
    """Shape (n,)."""
    amps_per_count: float
    interval_s: float
    """Time from one sample to the next."""


class Analyzer(ABC):
    """Loads the generator, keys it, and reads what comes out.

    Every verb may raise LinkTimeout, LinkLost, ProtocolError or InstrumentRefused.
    """

    data: AnalyzerData
    verbs: frozenset[Verb] | None = None
    """What its command set has a message for; None where it is not worked by one."""

    @property
    @abstractmethod
    def protections(self) -> Protections:
        """What this analyzer, as it is reached here, does to keep RF from staying on."""

    @abstractmethod
    def sent_limit_s(self, limit_s: float) -> float | None:
        """The time limit that ON would carry for `limit_s`, never longer; None where it has none.

        Instruments take limits in steps, so it may be shorter.
        """

    @abstractmethod
    async def identify(self) -> str:
        """Maker, model, serial number and firmware, as the instrument says them."""

    @abstractmethod
    async def set_load(self, load_ohm: float) -> None:
        """Connect the load resistance `load_ohm` and read it back."""

    @abstractmethod
    async def set_path(self, path: InputPath) -> None:
        """Join the input terminals to the output, leakage or contact quality circuit."""

    @abstractmethod
    async def switch_on(self, limit_s: float) -> None:
        """Key the generator for at most `limit_s`; the limit travels with the command.

        Only `engine.activation` may call this (rule 1).
        """

    @abstractmethod
    async def switch_off(self) -> None:
        """Send OFF, whatever state the line is in. An acknowledgement proves nothing."""

    @abstractmethod
    async def output_on(self) -> bool:
        """Read the state of the keying output back."""

    @abstractmethod
    async def fetch_current(self) -> Reading:
        """The latest completed reading of the load current."""

    @abstractmethod
    async def fetch_leakage(self) -> Reading:
        """The latest completed reading of the HF leakage current."""

    async def left_s(self) -> float | None:
        """What is left of the limit sent with ON; None where the analyzer does not tell."""
        return None

    @abstractmethod
    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        """Put `resistance_ohm` between the halves of the neutral electrode."""

    async def glance(self) -> tuple[bool, float]:
        """Whether the output reads on, and the load current in mA, each asked once.

        Good enough to suspect that RF is on, not to rule it out.
        """
        return await self.output_on(), (await self.fetch_current()).current_ma

    async def capture_waveform(self) -> WaveformCapture:
        """The waveform that belongs to the latest completed reading.

        Raises OutOfCapability where the analyzer captures none, as by itself it does not.
        """
        raise OutOfCapability(f"{self.data.model} captures no waveform.")

    async def begin_watch(self, silent_s: float = 0.0) -> None:  # noqa: ARG002
        """From here to `end_watch` a guard, where there is one, has the engine watched.

        It may be silent for `silent_s` longer than a dialogue is, as while a person presses keys.
        """
        return

    async def end_watch(self) -> None:
        """The output has read off: nobody needs to watch."""
        return

    async def until_failed(self) -> None:
        """Return when the line has failed while nobody speaks, where anything can tell that."""
        await anyio.sleep_forever()

    async def reconnect(self) -> bool:
        """After LinkLost: whether the analyzer was found again, in some seconds.

        Only so that OFF can be sent: what identifies itself then must be what was switched on.
        """
        return False

    async def prove_watchdog(self) -> GuardProof | None:
        """Break the promise to the guard, and see its OFF read back as off by guard and engine.

        Only within an open activation has that OFF something to do; outside it shows no more than
        that the guard is awake. None where there is no guard. Raises LinkError when the guard
        does not trip, or the output does not read off.
        """
        return None
