"""What was read of RF at a bench, kept so that a crash message can still tell it.

It needs no bench, no instrument, no event loop and nothing beside the standard library, since a
crash may be the failure of any of these.
"""

from __future__ import annotations

from contextvars import ContextVar
from datetime import datetime
from typing import Literal


class RfTracker:
    """RF at one bench: the latest reading, and whether RF may be on since then.

    Only readings and commands that were sent change it; nothing is concluded from an error.
    """

    def __init__(self) -> None:
        self.reading: Literal["off", "on", "unknown"] = "unknown"
        """`unknown` before the first reading, during a reading and from just before ON is sent."""
        self.may_be_on = False
        """Whether ON may have been sent, or RF was found on, since RF was last read as off."""
        self.was_on = False
        """Whether ON may ever have been sent, or RF was ever found on."""
        self.read_off_at: datetime | None = None
        """When RF was last read as off, by the bench's clock (UTC); None where it never was."""
        self.is_unproved = False
        """Whether no current was read last where that is no proof of off."""
        self._as_told = False

    def begin_reading(self) -> None:
        """Set the reading to `unknown` until the answers are in."""
        self.reading, self.is_unproved = "unknown", False

    def set_off(self, at: datetime, *, as_told: bool = False) -> None:
        """Keep that RF was read as off at the time `at` of the bench's clock.

        `as_told`: a person looked at the meter and said so.
        """
        self.reading, self.may_be_on, self.read_off_at = "off", False, at
        self.is_unproved, self._as_told = False, as_told
        _remember(self)

    def set_unproved(self) -> None:
        """Keep that no current was read, where that is no proof of off: RF may be as it was."""
        self.reading, self.is_unproved = "unknown", True
        _remember(self)

    def set_on(self) -> None:
        """Keep that RF was read as on."""
        self.reading, self.is_unproved = "on", False
        self._set_may_be_on()

    def set_unknown(self) -> None:
        """Keep that something is about to be sent that may switch RF on."""
        self.reading, self.is_unproved = "unknown", False
        self._set_may_be_on()

    def _set_may_be_on(self) -> None:
        self.may_be_on = self.was_on = True
        _remember(self)

    def text(self) -> str:
        """One sentence that tells a person what is known of RF."""
        if self.may_be_on and self.is_unproved:
            return (
                "RF MAY STILL BE ON: no current is read, which proves nothing, since none that "
                "setting and load would drive was read with RF on."
            )
        if self.may_be_on:
            return "RF MAY STILL BE ON: the output has not been read back as off."
        if self.read_off_at is not None:
            at = f"{self.read_off_at:%H:%M:%S}"
            how = "said by a person to be off" if self._as_told else "read back as off"
            return f"RF was last {how}, at {at} UTC by the bench's clock."
        return "RF was never switched on by this program."


class BenchMemory:
    """The state of one bench that was changed last, in whichever of its runs."""

    def __init__(self) -> None:
        self.latest = RfTracker()


_latest = RfTracker()
_perhaps_on: list[RfTracker] = []
_bench: ContextVar[BenchMemory | None] = ContextVar("bench", default=None)


def at_bench(memory: BenchMemory) -> None:
    """Have `latest` tell of one bench alone, in this task and those that it begins."""
    _bench.set(memory)


def latest() -> RfTracker:
    """The state that this command changed last, first of all among those where RF may be on.

    A new one where it has changed none. In a task that works `at_bench`, that of the bench: RF at
    another says nothing of it.
    """
    memory = _bench.get()
    if memory is not None:
        return memory.latest
    return _perhaps_on[-1] if _perhaps_on else _latest


def forget() -> None:
    """Forget the states of the command before: of this one's RF nothing is known yet."""
    _perhaps_on.clear()
    _remember(RfTracker())


def _remember(state: RfTracker) -> None:
    global _latest
    _latest = state
    memory = _bench.get()
    if memory is not None:
        memory.latest = state
    if state in _perhaps_on:
        _perhaps_on.remove(state)
    if state.may_be_on:
        _perhaps_on.append(state)
