"""The back end behind a command set passes the conformance kit; broken ones do not."""

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager

import pytest

from ohmwright.engine.activation import activation
from ohmwright.instruments.conformance import (
    CHECKS,
    Check,
    Kit,
    activates_reads_and_releases,
    ends_an_activation_by_itself,
    identifies_itself,
    is_off_when_opened,
    refuses_a_load_it_has_not,
)
from ohmwright.model.errors import ProtocolError

pytestmark = pytest.mark.anyio


def kit_of(rig: object) -> Kit:
    bench = rig.bench

    @asynccontextmanager
    async def activate(load_ohm: float, limit_s: float) -> AsyncIterator[object]:
        async with activation(bench, load_ohm=load_ohm, power_w=100, limit_s=limit_s) as opened:
            yield opened

    return Kit(bench.analyzer, bench.clock, activate)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("bench", ["demo", "attended"])
async def test_a_simulated_analyzer_passes(make_rig: Callable, check: Check, bench: str) -> None:
    rig = make_rig(bench=bench)
    rig.hardware.panel.select("cut", 100)
    assert await check(kit_of(rig)) is None
    assert not rig.hardware.truth.rf_on


@pytest.mark.parametrize(
    ("broken", "check"),
    [
        ({b"*IDN?": None}, identifies_itself),
        ({b"OUTPut:STATe?": b"1\n"}, is_off_when_opened),
        ({b"INPut:IMPedance 5017.3": b""}, refuses_a_load_it_has_not),
        ({b"FETCh:CURRent?": b"+0.00000E+00,A,5\n"}, activates_reads_and_releases),
        ({b"OUTPut:STATe ON,1.000": b"OUTP:STAT ON,9"}, ends_an_activation_by_itself),
    ],
)
async def test_a_broken_one_does_not(
    make_rig: Callable, broken: dict[bytes, bytes | None], check: Check
) -> None:
    rig = make_rig()
    rig.hardware.panel.select("cut", 100)
    handle, calls = rig.hardware.analyzer_port, iter(range(10**6))

    def answer(line: bytes) -> bytes:
        for begins, reply in broken.items():
            if line.strip() != begins:
                continue
            if reply is None:
                return b"unit %d\n" % next(calls)
            if reply.startswith(b"OUTP"):
                return handle(reply + b"\n")
            return reply
        if line.startswith(b"INPut:IMPedance?") and b"INPut:IMPedance 5017.3" in broken:
            return b"5017.3\n"
        return handle(line)

    rig.bench.analyzer.dialogue.framing.link._handle = answer
    try:
        complaint = await check(kit_of(rig))
    except ProtocolError as problem:
        complaint = str(problem)
    assert complaint
