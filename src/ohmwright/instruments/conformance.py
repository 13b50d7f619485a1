"""Checks that every analyzer back end must pass, for tests and for people.

The kit never switches RF on by itself: it is handed the one way to do so.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable
from contextlib import AbstractAsyncContextManager
from dataclasses import dataclass
from math import isclose, isnan

from ohmwright.model.errors import OhmwrightError
from ohmwright.model.hardware import MeterData
from ohmwright.uncertainty.waveform import waveform_parameters
from ohmwright.wire.clock import Clock

from .analyzer import Analyzer

_SAME_CURRENT = 0.05
LIMIT_S = 1.0
"""Sent with ON to see that the instrument keeps it."""
_OFF_LIMIT_S = 4.0
"""Least limit sent with ON to see that OFF ends an activation before that."""
_READ_LIMIT_S, _READINGS = 5.0, 15
"""Least limit, and readings to come before it, where an activation is ended before its limit."""
_READINGS_BEFORE_OFF, _READINGS_AFTER_OFF = 5, 2
_OFF_SPARE_S = 1.5
"""Time for queries, between the last reading and the limit that is not to be reached."""
_GRACE_S = 0.5
"""A reply and the contact's own time, after which the output must read off."""
_LOOK_EVERY_S = 0.05
OpenActivation = Callable[[float, float], AbstractAsyncContextManager[object]]
"""Opens an activation into a load resistance (ohm) for at most a time (s)."""


@dataclass(frozen=True)
class Kit:
    """An analyzer under check, keying a generator that delivers some output."""

    analyzer: Analyzer
    clock: Clock
    activate: OpenActivation
    load_ohm: float
    """A load resistance that the bank has."""

    async def wait_readings(self, count: float) -> None:
        """Let `count` reading intervals and the averaging window pass.

        Readings are taken meanwhile, since a guard takes silence for a program that hangs.
        """
        meter = self.analyzer.data.meter
        end_s = self.clock.now_s() + count / meter.readings_per_s + meter.window_s
        while (left_s := end_s - self.clock.now_s()) > 0:
            await self.clock.sleep(min(left_s, 1 / meter.readings_per_s))
            await self.analyzer.fetch_current()


def off_limit_s(meter: MeterData) -> float:
    """Return the limit in s to send with ON where OFF, or the guard, is to end the activation.

    It leaves time to see the output come and go through the meter's window.
    """
    readings = _READINGS_BEFORE_OFF + _READINGS_AFTER_OFF
    return max(_OFF_LIMIT_S, readings / meter.readings_per_s + meter.window_s + _OFF_SPARE_S)


def readings_limit_s(meter: MeterData) -> float:
    """Return the limit in s to send with ON where some readings are to be taken meanwhile."""
    return max(_READ_LIMIT_S, _READINGS / meter.readings_per_s + 2 * meter.window_s + _OFF_SPARE_S)


ConformanceCheck = Callable[[Kit], Awaitable[str | None]]


async def identifies_itself(kit: Kit) -> str | None:
    """Check that the identity is a text that stays the same; what is wrong, or None."""
    first, second = await kit.analyzer.identify(), await kit.analyzer.identify()
    return None if first and first == second else f"identity {first!r}, then {second!r}"


async def is_off_when_opened(kit: Kit) -> str | None:
    """Check that the output is off at first; what is wrong, or None."""
    return "the output is on" if await kit.analyzer.output_on() else None


async def sets_every_load(kit: Kit) -> str | None:
    """Check that each load resistance of its data is accepted and read back; None."""
    for load_ohm in kit.analyzer.data.load_bank.loads_ohm:
        await kit.analyzer.set_load(load_ohm)
    return None


async def refuses_a_load_it_has_not(kit: Kit) -> str | None:
    """Check that a load resistance beyond the bank is refused; what is wrong, or None."""
    try:
        await kit.analyzer.set_load(17.3 + max(kit.analyzer.data.load_bank.loads_ohm))
    except OhmwrightError:
        return None
    return "it took a load resistance that its bank has not"


async def off_is_idempotent(kit: Kit) -> str | None:
    """Check that OFF while off is no error; what is wrong, or None."""
    await kit.analyzer.switch_off()
    await kit.analyzer.switch_off()
    return "the output is on after OFF" if await kit.analyzer.output_on() else None


async def activates_reads_and_releases(kit: Kit) -> str | None:
    """Check an activation: ON reads back as on, current flows, numbers grow, then it reads off.

    Returns what is wrong, or None.
    """
    async with kit.activate(kit.load_ohm, readings_limit_s(kit.analyzer.data.meter)):
        if not await kit.analyzer.output_on():
            return "ON does not read back as on"
        await kit.wait_readings(10)
        first = await kit.analyzer.fetch_current()
        await kit.wait_readings(3)
        second = await kit.analyzer.fetch_current()
    if _stands_still(first.number, second.number):
        return f"reading numbers {first.number}, {second.number} do not grow"
    if isnan(second.current_ma) or second.current_ma <= 0:
        return f"no current while on: {second.current_ma}"
    return "still on after the activation" if await kit.analyzer.output_on() else None


async def off_opens_the_output(kit: Kit) -> str | None:
    """Check that OFF opens the output within two readings, long before the limit.

    Returns what is wrong, or None.
    """
    async with kit.activate(kit.load_ohm, off_limit_s(kit.analyzer.data.meter)):
        await kit.wait_readings(_READINGS_BEFORE_OFF)
        if not await kit.analyzer.output_on():
            return "ON does not read back as on"
        await kit.analyzer.switch_off()
        readings_s = _READINGS_AFTER_OFF / kit.analyzer.data.meter.readings_per_s
        end_s = kit.clock.now_s() + max(_GRACE_S, readings_s)
        while await kit.analyzer.output_on():
            if kit.clock.now_s() > end_s:
                return "still on after OFF: only its limit would end an activation"
            await kit.clock.sleep(_LOOK_EVERY_S)
    return None


def _stands_still(first: int | None, second: int | None) -> bool:
    """Whether a meter that numbers its readings has taken none in between."""
    return first is not None and second is not None and second <= first


async def guard_opens_the_output(kit: Kit) -> str | None:
    """Check that the guard opens the output when the engine is silent, before the limit does.

    Returns what is wrong, or None; None too where there is no guard.
    """
    limit_s = off_limit_s(kit.analyzer.data.meter)
    async with kit.activate(kit.load_ohm, limit_s):
        began_s = kit.clock.now_s()
        proof = await kit.analyzer.prove_watchdog()
        lasted_s = kit.clock.now_s() - began_s
    if proof is None:
        return None
    if not proof.closed_before:
        return "ON did not read back as on, so its OFF had nothing to do"
    if max(proof.off_after_s, lasted_s) > limit_s - _GRACE_S:
        return "the output went off no sooner than by its limit"
    return None


async def ends_an_activation_by_itself(kit: Kit) -> str | None:
    """Check that the analyzer keeps the limit sent with ON; what is wrong, or None."""
    if kit.analyzer.data.activation.max_limit_s is None:
        return None
    async with kit.activate(kit.load_ohm, LIMIT_S):
        end_s = kit.clock.now_s() + LIMIT_S + _GRACE_S
        while kit.clock.now_s() < end_s:
            if not await kit.analyzer.output_on():
                return None
            await kit.clock.sleep(_LOOK_EVERY_S)
    return f"on {_GRACE_S:g} s after its limit"


async def captures_what_it_reads(kit: Kit) -> str | None:
    """Check that a captured waveform has the RMS value of the readings around it, within 5 %.

    Returns what is wrong, or None.
    """
    if not kit.analyzer.data.waveform:
        return None
    async with kit.activate(kit.load_ohm, 5.0):
        await kit.wait_readings(20)
        before = await kit.analyzer.fetch_current()
        captured = await kit.analyzer.capture_waveform()
    if captured.counts.size < 2 or captured.interval_s <= 0:
        return f"{captured.counts.size} samples, {captured.interval_s:g} s apart, are no waveform"
    rms_ma = 1000 * waveform_parameters(captured.counts, captured.amps_per_count).rms
    if not isclose(rms_ma, before.current_ma, rel_tol=_SAME_CURRENT):
        return f"a waveform of {rms_ma:.0f} mA was captured at {before.current_ma:.0f} mA"
    return None


CHECKS: tuple[ConformanceCheck, ...] = (
    identifies_itself,
    is_off_when_opened,
    sets_every_load,
    refuses_a_load_it_has_not,
    off_is_idempotent,
    activates_reads_and_releases,
    off_opens_the_output,
    ends_an_activation_by_itself,
    guard_opens_the_output,
    captures_what_it_reads,
)
WITHOUT_RF: tuple[ConformanceCheck, ...] = CHECKS[:5]
"""The checks that switch nothing on."""
