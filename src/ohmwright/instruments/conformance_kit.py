"""What a conformance check is given, and what it says was seen."""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from typing import Literal, NamedTuple

from ohmwright.model.hardware import MeterData
from ohmwright.wire.clock import Clock

from .analyzer import Analyzer
from .plausible_current import due_current_ma, implausible_words, in_three_digits

LIMIT_S = 1.0
"""Sent with ON to see that the instrument keeps it."""
GRACE_S = 0.5
"""A reply and the contact's own time, after which the output must read off."""
LOOK_EVERY_S = 0.05
READINGS_BEFORE_OFF, READINGS_AFTER_OFF = 5, 2
_OFF_LIMIT_S = 4.0
"""Least limit sent with ON to see that OFF ends an activation before that."""
_READ_LIMIT_S, _READINGS = 5.0, 15
"""Least limit, and readings to come before it, where an activation is ended before its limit."""
_OFF_SPARE_S = 1.5
"""Time for queries, between the last reading and the limit that is not to be reached."""
OpenActivation = Callable[[float, float], AbstractAsyncContextManager[object]]
"""Opens an activation into a load resistance (ohm) for at most a time (s)."""


class Observed(NamedTuple):
    """What one check saw."""

    state: Literal["good", "not checked", "NOT GOOD"]
    what: str
    """What was seen; why it was not looked for; or what is wrong."""

    @property
    def problem(self) -> str | None:
        """What is wrong; None where nothing was seen to be."""
        return self.what if self.state == "NOT GOOD" else None


def good(what: str) -> Observed:
    """`what` was seen, and is as it should be."""
    return Observed("good", what)


def wrong(what: str) -> Observed:
    """`what` was seen, and should not be so."""
    return Observed("NOT GOOD", what)


def not_checked(why: str) -> Observed:
    """Nothing was looked for, and why."""
    return Observed("not checked", why)


@dataclass(frozen=True)
class Kit:
    """An analyzer under check, keying a generator that delivers some output."""

    analyzer: Analyzer
    clock: Clock
    activate: OpenActivation
    load_ohm: float
    """A load resistance that the bank has."""
    setting_w: float | None = None
    """What the generator is set to, in W; None where that is not known."""

    async def wait_readings(self, count: float) -> None:
        """Let `count` reading intervals and the averaging window pass.

        Readings are taken meanwhile, since a guard takes silence for a program that hangs.
        """
        meter = self.analyzer.data.meter
        end_s = self.clock.now_s() + count / meter.readings_per_s + meter.window_s
        while (left_s := end_s - self.clock.now_s()) > 0:
            await self.clock.sleep(min(left_s, 1 / meter.readings_per_s))
            await self.analyzer.fetch_current()

    def against(self, current_ma: float, load_ohm: float) -> str:
        """Return what speaks against a reading taken with RF on; empty where nothing does."""
        if self.setting_w is None:
            return ""
        due_ma = due_current_ma(self.setting_w, load_ohm)
        return implausible_words(current_ma, due_ma, self.analyzer.data.meter)

    def due_words(self, load_ohm: float) -> str:
        """Return about which current is due into a load; empty where the setting is not known."""
        if self.setting_w is None:
            return ""
        return f" (about {in_three_digits(due_current_ma(self.setting_w, load_ohm))} is due)"

    async def seconds_until_off(self, within_s: float) -> float | None:
        """Seconds until the output reads off; None where it does not within `within_s`."""
        begun_s = self.clock.now_s()
        while await self.analyzer.output_on():
            if self.clock.now_s() > begun_s + within_s:
                return None
            await self.clock.sleep(LOOK_EVERY_S)
        return self.clock.now_s() - begun_s


ConformanceCheck = Callable[[Kit], Awaitable[Observed]]


def off_limit_s(meter: MeterData) -> float:
    """Return the limit in s to send with ON where OFF, or the guard, is to end the activation.

    It leaves time to see the output come and go through the meter's window.
    """
    readings = READINGS_BEFORE_OFF + READINGS_AFTER_OFF
    return max(_OFF_LIMIT_S, readings / meter.readings_per_s + meter.window_s + _OFF_SPARE_S)


def readings_limit_s(meter: MeterData) -> float:
    """Return the limit in s to send with ON where some readings are to be taken meanwhile."""
    return max(_READ_LIMIT_S, _READINGS / meter.readings_per_s + 2 * meter.window_s + _OFF_SPARE_S)
