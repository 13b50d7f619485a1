"""Conformance checks that need an activation: ON, the readings, and each way in which RF ends."""

from __future__ import annotations

from math import isclose, isnan, log

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
_SAME_DIGITS = 2
"""Two readings of one current may be a digit apart each way."""
_NOT_ON = "ON does not read back as on"


async def activates_reads_and_releases(kit: Kit) -> Observed:
    """Check an activation: ON reads back as on, numbers grow, then it reads off.

    The current must be about what setting and load drive, where the setting is known.
    """
    async with kit.activate(kit.load_ohm, readings_limit_s(kit.analyzer.data.meter)):
        if not await kit.analyzer.output_on():
            return wrong(_NOT_ON)
        await kit.wait_readings(10)
        first = await kit.analyzer.fetch_current()
        await kit.wait_readings(3)
        second = await kit.analyzer.fetch_current()
    if _stands_still(first.number, second.number):
        return wrong(f"reading numbers {first.number}, {second.number} do not grow")
    if isnan(second.current_ma):
        return wrong("while on, its reading is no number")
    if second.current_ma <= 0:
        return wrong(f"no current while on: {second.current_ma:g} mA")
    if against := kit.against(second.current_ma, kit.load_ohm):
        return wrong(against)
    if await kit.analyzer.output_on():
        return wrong("still on after the activation")
    numbers = "no numbers" if second.number is None else f"numbers {first.number}, {second.number}"
    read = f"{second.current_ma:g} mA into {kit.load_ohm:g} ohm{kit.due_words(kit.load_ohm)}"
    return good(f"on, {read}, {numbers}; then off")


async def a_load_change_changes_the_current(kit: Kit) -> Observed:
    """Check that the current is another into another load: read-back is the analyzer's own word.

    An output of constant power or voltage gives less current into more load resistance.
    """
    if "load" in kit.analyzer.by_hand:
        return not_checked("a person connects the load")
    loads_ohm = [kit.load_ohm, _other_load_ohm(kit)]
    if loads_ohm[0] == loads_ohm[1]:
        return not_checked("its bank has one load alone")
    shown = [(ohm, await _current_into(kit, ohm)) for ohm in loads_ohm]
    said = " and ".join(f"{current_ma:g} mA into {ohm:g} ohm" for ohm, current_ma in shown)
    (_, one_ma), (_, other_ma) = shown
    if against := next(filter(None, (kit.against(ma, ohm) for ohm, ma in shown)), ""):
        return wrong(f"{said}: {against}")
    digits_ma = _SAME_DIGITS * kit.analyzer.data.meter.resolution_ma
    alike = isclose(one_ma, other_ma, rel_tol=_SAME_CURRENT, abs_tol=digits_ma)
    if min(one_ma, other_ma) > 0 and not alike:
        return good(f"{said}: the load was changed, not only its read-back")
    return wrong(f"{said}: the load that it says is connected may not be")


def _other_load_ohm(kit: Kit) -> float:
    """The load resistance of the bank that is nearest to twice the kit's, and not that one."""
    others = [ohm for ohm in kit.analyzer.data.load_bank.loads_ohm if ohm != kit.load_ohm]
    return min(others, key=lambda ohm: abs(log(ohm / kit.load_ohm / 2)), default=kit.load_ohm)


async def _current_into(kit: Kit, load_ohm: float) -> float:
    """The current in mA that an activation puts into `load_ohm`; 0 where none is read."""
    async with kit.activate(load_ohm, readings_limit_s(kit.analyzer.data.meter)):
        await kit.wait_readings(10)
        current_ma = (await kit.analyzer.fetch_current()).current_ma
    return 0.0 if isnan(current_ma) else current_ma


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
    return good(f"read as off {proof.off_after_s:.2f} s after this program fell silent")


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
