"""Conformance checks that need an activation: ON, the readings, and each way in which RF ends."""

from __future__ import annotations

from math import isclose, isnan

from ohmwright.uncertainty.waveform import waveform_parameters

from .conformance_kit import (
    GRACE_S,
    LIMIT_S,
    READINGS_AFTER_OFF,
    READINGS_BEFORE_OFF,
    Kit,
    Observed,
    good,
    not_checked,
    off_limit_s,
    readings_limit_s,
    wrong,
)

_SAME_CURRENT = 0.05
_NOT_ON = "ON does not read back as on"


async def activates_reads_and_releases(kit: Kit) -> Observed:
    """Check an activation: ON reads back as on, current flows, numbers grow, then it reads off."""
    async with kit.activate(kit.load_ohm, readings_limit_s(kit.analyzer.data.meter)):
        if not await kit.analyzer.output_on():
            return wrong(_NOT_ON)
        await kit.wait_readings(10)
        first = await kit.analyzer.fetch_current()
        await kit.wait_readings(3)
        second = await kit.analyzer.fetch_current()
    if _stands_still(first.number, second.number):
        return wrong(f"reading numbers {first.number}, {second.number} do not grow")
    if isnan(second.current_ma) or second.current_ma <= 0:
        return wrong(f"no current while on: {second.current_ma}")
    if await kit.analyzer.output_on():
        return wrong("still on after the activation")
    numbers = "no numbers" if second.number is None else f"numbers {first.number}, {second.number}"
    return good(f"on, {second.current_ma:g} mA into {kit.load_ohm:g} ohm, {numbers}; then off")


def _stands_still(first: int | None, second: int | None) -> bool:
    """Whether a meter that numbers its readings has taken none in between."""
    return first is not None and second is not None and second <= first


async def off_opens_the_output(kit: Kit) -> Observed:
    """Check that OFF opens the output within two readings, long before the limit."""
    meter = kit.analyzer.data.meter
    async with kit.activate(kit.load_ohm, off_limit_s(meter)):
        await kit.wait_readings(READINGS_BEFORE_OFF)
        if not await kit.analyzer.output_on():
            return wrong(_NOT_ON)
        await kit.analyzer.switch_off()
        bound_s = max(GRACE_S, READINGS_AFTER_OFF / meter.readings_per_s)
        took_s = await kit.seconds_until_off(bound_s)
    if took_s is None:
        return wrong("still on after OFF: only its limit would end an activation")
    return good(f"it read on, then off {took_s:.2f} s after OFF")


async def ends_an_activation_by_itself(kit: Kit) -> Observed:
    """Check that the analyzer keeps the limit sent with ON."""
    if kit.analyzer.data.activation.max_limit_s is None:
        return not_checked("ON carries no time limit")
    async with kit.activate(kit.load_ohm, LIMIT_S):
        took_s = await kit.seconds_until_off(LIMIT_S + GRACE_S)
    if took_s is None:
        return wrong(f"on {GRACE_S:g} s after its limit")
    return good(f"off {took_s:.2f} s after ON with a limit of {LIMIT_S:g} s")


async def guard_opens_the_output(kit: Kit) -> Observed:
    """Check that the guard opens the output when the engine is silent, before the limit does."""
    limit_s = off_limit_s(kit.analyzer.data.meter)
    if not kit.analyzer.protections.guard:
        return not_checked("NO GUARD: nothing sends OFF when this program is gone")
    async with kit.activate(kit.load_ohm, limit_s):
        began_s = kit.clock.now_s()
        proof = await kit.analyzer.prove_watchdog()
        lasted_s = kit.clock.now_s() - began_s
    if proof is None:
        return not_checked("this bench is worked without a guard")
    if not proof.closed_before:
        return wrong("ON did not read back as on, so its OFF had nothing to do")
    if max(proof.off_after_s, lasted_s) > limit_s - GRACE_S:
        return wrong("the output went off no sooner than by its limit")
    return good(f"off {proof.off_after_s:.2f} s after this program fell silent")


async def captures_what_it_reads(kit: Kit) -> Observed:
    """Check that a captured waveform has the RMS value of the readings around it, within 5 %."""
    if not kit.analyzer.data.waveform:
        return not_checked("it captures no waveform")
    async with kit.activate(kit.load_ohm, 5.0):
        await kit.wait_readings(20)
        read_ma = (await kit.analyzer.fetch_current()).current_ma
        captured = await kit.analyzer.capture_waveform()
    if captured.counts.size < 2 or captured.interval_s <= 0:
        samples = f"{captured.counts.size} samples, {captured.interval_s:g} s apart"
        return wrong(f"{samples}, are no waveform")
    rms_ma = 1000 * waveform_parameters(captured.counts, captured.amps_per_count).rms
    said = f"a waveform of {rms_ma:.0f} mA was captured at {read_ma:.0f} mA"
    return good(said) if isclose(rms_ma, read_ma, rel_tol=_SAME_CURRENT) else wrong(said)
