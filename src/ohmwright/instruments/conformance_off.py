"""Conformance checks with the output off: identity, settings, and OFF where nothing is on."""

from __future__ import annotations

from math import isnan

from ohmwright.model.errors import (
    InstrumentRefused,
    LinkError,
    LinkTimeout,
    OhmwrightError,
    ProtocolError,
    SettingNotTaken,
)
from ohmwright.model.hardware import AnalyzerData, InputPath
from ohmwright.wire.off import OffAnswer

from .conformance_kit import Kit, Observed, good, not_checked, wrong

_READINGS = 20
ONLY_A_CURRENT_PROVES = (
    "with a foot switch that is no proof of off before a current that is due was read with RF on"
)
"""Why no current shows nothing yet where nothing else would show RF: its scale may be wrong."""


async def identifies_itself(kit: Kit) -> Observed:
    """Check that the identity is a text that stays the same."""
    first, second = await kit.analyzer.identify(), await kit.analyzer.identify()
    if not first or first != second:
        return wrong(f"identity {first!r}, then {second!r}")
    return good(f"'{first}', twice")


async def is_off_when_opened(kit: Kit) -> Observed:
    """Check that the output is off at first."""
    if await kit.analyzer.output_on():
        return wrong("the output is on")
    if kit.analyzer.keyed_by_foot:
        return not_checked(f"no current is read: {ONLY_A_CURRENT_PROVES}")
    return good("it reads off")


async def reads_no_current_while_off(kit: Kit) -> Observed:
    """Check that the meter shows no more than its zero while nothing is switched on."""
    meter = kit.analyzer.data.meter
    shown_ma = list[float]()
    for _ in range(_READINGS):
        await kit.clock.sleep(1 / meter.readings_per_s)
        current_ma = (await kit.analyzer.fetch_current()).current_ma
        if not isnan(current_ma):
            shown_ma.append(abs(current_ma))
    if not shown_ma:
        return not_checked(f"none of {_READINGS} readings was a number; only RF can show one")
    largest_ma, zero_ma = max(shown_ma), meter.largest_zero_ma
    said = f"{largest_ma:g} mA at most in {len(shown_ma)} readings; its zero may be {zero_ma:g} mA"
    if largest_ma <= zero_ma and kit.analyzer.keyed_by_foot:
        return not_checked(f"{said}: {ONLY_A_CURRENT_PROVES}")
    if largest_ma <= zero_ma:
        return good(said)
    return wrong(f"{said}; what its manual states goes to zero_ma in [data.meter] of its data file")


async def sets_every_load(kit: Kit) -> Observed:
    """Check that each load resistance of its data is accepted and read back."""
    loads_ohm = kit.analyzer.data.load_bank.loads_ohm
    for load_ohm in loads_ohm:
        await kit.analyzer.set_load(load_ohm)
    if not kit.analyzer.protections.load_read_back:
        return not_checked(f"all {len(loads_ohm)} were taken; it cannot tell which is connected")
    return good(f"{len(loads_ohm)} load resistances, each read back: the analyzer's own word")


async def refuses_a_load_it_has_not(kit: Kit) -> Observed:
    """Check that a load resistance beyond the bank is refused, where it can refuse or read back."""
    load_ohm = 17.3 + max(kit.analyzer.data.load_bank.loads_ohm)
    try:
        await kit.analyzer.set_load(load_ohm)
    except (InstrumentRefused, SettingNotTaken) as refusal:
        return good(refusal.happened)
    except (LinkTimeout, ProtocolError) as unclear:
        return not_checked(f"nothing says that it refused it: {unclear.happened}")
    except LinkError:
        raise
    except OhmwrightError as unsent:
        return not_checked(f"it was not asked: {unsent.happened}")
    if not kit.analyzer.protections.load_read_back and not _refuses(kit):
        return not_checked("it cannot refuse a setting, nor tell which is connected")
    return wrong(f"it took {load_ohm:g} ohm, which its bank has not")


def _refuses(kit: Kit) -> bool:
    verbs = kit.analyzer.verbs
    return verbs is None or "error" in verbs


async def joins_every_circuit(kit: Kit) -> Observed:
    """Check that its input can be joined to each circuit of its data, and back to the output."""
    protections, paths = kit.analyzer.protections, _circuits(kit.analyzer.data)
    if len(paths) == 1:
        return not_checked("it has one circuit alone")
    if not protections.path_set:
        return not_checked("its input is joined by hand")
    for path in paths:
        await kit.analyzer.set_path(path)
    if not protections.path_read_back:
        return not_checked(f"{', '.join(paths)} were taken; it cannot tell which is joined")
    return good(f"{', '.join(paths)}, each read back: the analyzer's own word")


def _circuits(data: AnalyzerData) -> tuple[InputPath, ...]:
    leakage: tuple[InputPath, ...] = () if data.leakage_load_ohm is None else ("LEAKAGE",)
    contact: tuple[InputPath, ...] = () if data.contact_quality_ohm is None else ("CQUALITY",)
    return (*leakage, *contact, "OUTPUT")


async def off_is_idempotent(kit: Kit) -> Observed:
    """Check that OFF while off is no error: good only where the answers to it say so."""
    for _ in range(2):
        await kit.analyzer.switch_off()
        if await kit.analyzer.output_on():
            return wrong("the output is on after OFF")
        if kit.analyzer.off_answer.taken is False:
            break
    return off_taken(kit.analyzer.off_answer, "OFF was sent twice while off; it reads off")


def off_taken(answer: OffAnswer, seen: str) -> Observed:
    """`seen`, which OFF did with nothing on, as far as `answer` shows that OFF was taken."""
    if answer.taken is False:
        return wrong(f"to OFF came {answer.said}: it was not taken")
    if answer.taken:
        return good(f"{seen}, and OFF was acknowledged")
    said = f"; to OFF came {answer.said}" if answer.said else ""
    return not_checked(f"{seen}; that OFF is taken is not proved with RF off{said}")
