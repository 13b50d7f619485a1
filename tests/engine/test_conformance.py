"""The back end behind a command set passes the conformance kit; broken ones do not."""

import math
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest

from ohmwright.engine.activation import activation
from ohmwright.instruments.conformance import (
    CHECKS,
    WITH_RF,
)
from ohmwright.instruments.conformance_kit import ConformanceCheck, Kit
from ohmwright.instruments.conformance_off import (
    identifies_itself,
    is_off_when_opened,
    reads_no_current_while_off,
    refuses_a_load_it_has_not,
    sets_every_load,
)
from ohmwright.instruments.conformance_on import (
    a_load_change_changes_the_current,
    activates_reads_and_releases,
    captures_what_it_reads,
    ends_an_activation_by_itself,
)
from ohmwright.model.errors import OutOfCapability, ProtocolError
from ohmwright.wire.links.memory import MemoryLink

pytestmark = pytest.mark.anyio


def kit_of(rig: object, load_ohm: float | None = None) -> Kit:
    """A kit at `load_ohm`, by default the bank's first load."""
    bench = rig.bench
    if load_ohm is None:
        load_ohm = bench.analyzer.data.load_bank.loads_ohm[0]

    @asynccontextmanager
    async def activate(load_ohm: float, limit_s: float) -> AsyncIterator[object]:
        async with activation(bench, load_ohm=load_ohm, power_w=100, limit_s=limit_s) as opened:
            yield opened

    return Kit(bench.analyzer, bench.clock, activate, load_ohm)


@pytest.mark.parametrize("check", CHECKS, ids=lambda check: check.__name__)
@pytest.mark.parametrize("bench", ["demo", "attended"])
async def test_a_simulated_analyzer_passes(
    make_rig: Callable, check: ConformanceCheck, bench: str
) -> None:
    rig = make_rig(bench=bench)
    rig.hardware.panel.select("cut", 100)
    seen = await check(kit_of(rig, load_ohm=300))
    assert (seen.problem, bool(seen.what)) == (None, True)
    assert not rig.hardware.truth.rf_on


class Promised(MemoryLink):
    """Keeps the longest silence in which a guard watched, over what it was promised."""

    longest_s = -math.inf
    _every_s: float | None = None
    _last_s = 0.0

    async def expect_traffic(self, every_s: float | None) -> None:
        self._every_s, self._last_s = every_s, self._clock.now_s()

    async def write(self, data: bytes) -> None:
        now_s = self._clock.now_s()
        if self._every_s is not None:
            self.longest_s = max(self.longest_s, now_s - self._last_s - self._every_s)
        self._last_s = now_s
        await super().write(data)


@pytest.mark.parametrize("check", WITH_RF, ids=lambda check: check.__name__)
@pytest.mark.parametrize("bench", ["demo", "attended"])
async def test_a_guard_never_hears_nothing_for_too_long(
    make_rig: Callable, check: ConformanceCheck, bench: str
) -> None:
    rig = make_rig(bench=bench)
    rig.hardware.panel.select("cut", 100)
    link = Promised("promised", rig.hardware.analyzer_port, rig.bench.clock)
    rig.bench.analyzer.dialogue.framing.link = link
    assert (await check(kit_of(rig, load_ohm=300))).problem is None
    assert link.longest_s < 0


@pytest.mark.parametrize(
    ("broken", "check"),
    [
        ({b"*IDN?": None}, identifies_itself),
        ({b"OUTPut:STATe?": b"1\n"}, is_off_when_opened),
        ({b"FETCh:CURRent?": b"+9.00000E-03,A,5\n"}, reads_no_current_while_off),
        ({b"INPut:IMPedance 4717.3": b""}, refuses_a_load_it_has_not),
        ({b"FETCh:CURRent?": b"+0.00000E+00,A,5\n"}, activates_reads_and_releases),
        (
            {
                b"OUTPut:STATe:CEILing 1.000": b"OUTP:STAT:CEIL 9",
                b"OUTPut:STATe:CEILing?": b"1.0\n",
                b"OUTPut:STATe ON,1.000": b"OUTP:STAT ON,9",
            },
            ends_an_activation_by_itself,
        ),
        ({b"FETCh:WAVeform:SCALe?": b"+1.0E-03,+5.0E-08\n"}, captures_what_it_reads),
        ({b"FETCh:WAVeform:SCALe?": b"+4.9E-04,+0.0E+00\n"}, captures_what_it_reads),
    ],
)
async def test_a_broken_one_does_not(
    make_rig: Callable, broken: dict[bytes, bytes | None], check: ConformanceCheck
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
        if line.startswith(b"INPut:IMPedance?") and b"INPut:IMPedance 4717.3" in broken:
            return b"4717.3\n"
        return handle(line)

    rig.bench.analyzer.dialogue.framing.link._handle = answer
    try:
        complaint = (await check(kit_of(rig))).problem
    except ProtocolError as problem:
        complaint = str(problem)
    assert complaint


async def test_readings_that_are_no_numbers_show_no_current_and_no_zero(make_rig: Callable) -> None:
    rig = make_rig()
    rig.hardware.panel.select("cut", 100)
    link = rig.bench.analyzer.dialogue.framing.link
    handle = link._handle

    def answer(line: bytes) -> bytes:
        figure, comma, rest = handle(line).partition(b",A,")
        return b"9.91E+37,A," + rest if comma else figure

    link._handle = answer
    assert (await reads_no_current_while_off(kit_of(rig))).state == "not checked"
    seen = await activates_reads_and_releases(kit_of(rig))
    assert seen.problem == "while on, its reading is no number"


async def test_a_read_back_that_says_what_was_sent_last_is_found_by_the_current(
    make_rig: Callable,
) -> None:
    """The load stays where it was; the analyzer says what it was told, whatever it did."""
    rig = make_rig()
    rig.hardware.panel.select("cut", 9)
    link = rig.bench.analyzer.dialogue.framing.link
    handle, said = link._handle, b""

    def answer(line: bytes) -> bytes:
        nonlocal said
        if line.startswith(b"INPut:IMPedance "):
            said = line.split()[1] + b"\n"
            return b""
        return said if line.startswith(b"INPut:IMPedance?") and said else handle(line)

    link._handle = answer
    kit = kit_of(rig, load_ohm=300)
    assert (await sets_every_load(kit)).state == "good"
    seen = await a_load_change_changes_the_current(kit)
    assert (seen.state, "may not be" in seen.what) == ("NOT GOOD", True)


async def test_what_it_cannot_read_back_is_not_called_good(make_rig: Callable) -> None:
    rig = make_rig()
    analyzer, commands = rig.bench.analyzer, rig.bench.analyzer.dialogue.commands
    ask = {verb: text for verb, text in commands.ask.items() if verb not in ("load", "error")}
    analyzer.dialogue.commands = commands.model_copy(update={"ask": ask})
    analyzer.verbs = analyzer.dialogue.commands.verbs
    for check in (sets_every_load, refuses_a_load_it_has_not):
        assert (await check(kit_of(rig))).state == "not checked"


async def test_an_answer_that_does_not_come_is_no_refusal_of_a_load(make_rig: Callable) -> None:
    rig = make_rig()
    handle = rig.hardware.analyzer_port

    def answer(line: bytes) -> bytes:
        reply = handle(line)
        return b"" if reply.startswith(b"-222") else reply

    rig.bench.analyzer.dialogue.framing.link._handle = answer
    seen = await refuses_a_load_it_has_not(kit_of(rig))
    assert (seen.state, "did not answer" in seen.what) == ("not checked", True)


async def test_a_waveform_without_its_scales_means_nothing(make_rig: Callable) -> None:
    rig = make_rig()
    handle = rig.hardware.analyzer_port

    def answer(line: bytes) -> bytes:
        return b"one,two\n" if line.strip() == b"FETCh:WAVeform:SCALe?" else handle(line)

    rig.bench.analyzer.dialogue.framing.link._handle = answer
    with pytest.raises(ProtocolError, match="amps_per_count"):
        await rig.bench.analyzer.capture_waveform()


async def test_an_analyzer_that_captures_nothing_says_so(make_rig: Callable) -> None:
    with pytest.raises(OutOfCapability, match="Plover 200 captures no waveform"):
        await make_rig(bench="attended").bench.analyzer.capture_waveform()


@pytest.mark.parametrize("scaled", [False, True])
async def test_a_current_in_another_unit_is_not_good(
    make_rig: Callable, in_ampere: Callable, scaled: bool
) -> None:
    """Whatever else is right with it: on, numbers that grow, another current in another load."""
    rig = make_rig()
    if scaled:
        in_ampere(rig.bench.analyzer)
    rig.hardware.panel.select("cut", 9)
    kit = replace(kit_of(rig, load_ohm=500), setting_w=9)
    for check in (activates_reads_and_releases, a_load_change_changes_the_current):
        seen = await check(kit)
        said = [part in seen.what for part in ("with RF on, no more", "134 mA is due", "scale")]
        assert (seen.state, all(said)) == (("NOT GOOD", True) if scaled else ("good", False))
        assert not rig.hardware.truth.rf_on
