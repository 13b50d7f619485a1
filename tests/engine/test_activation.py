"""RF is off after the block, whatever happens in it."""

import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any
from unittest.mock import AsyncMock

import anyio
import pytest

from ohmwright.engine.activation import Activation, activation
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.unasked_rf import ensure_off_after
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.analyzer import Analyzer, Reading
from ohmwright.instruments.bench import Bench
from ohmwright.model import rf_state
from ohmwright.model.bench_file import Asset
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import (
    ExcessiveOutput,
    LinkError,
    LinkLost,
    LinkTimeout,
    OutOfCapability,
    ProtocolError,
    ReleaseNotConfirmed,
    RfUnsafe,
    Stopped,
)
from ohmwright.model.hardware import (
    ActivationOutput,
    AnalyzerData,
    InputPath,
    LoadBankData,
    MeterData,
)
from ohmwright.model.protections import Protections
from ohmwright.wire.clock import VirtualClock

pytestmark = pytest.mark.anyio
release_module = sys.modules["ohmwright.engine.release"]

DATA = AnalyzerData(
    maker="m",
    model="a",
    command_set="none",
    load_bank=LoadBankData(loads_ohm=(100, 300), max_power_w=400, max_on_s=30),
    meter=MeterData(max_current_ma=2000, resolution_ma=1, readings_per_s=5, window_s=0.5),
    activation=ActivationOutput(max_limit_s=25),
)


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@dataclass
class ScriptedAnalyzer(Analyzer):
    """Says what it was told to; `off_fails` raises for so many OFFs."""

    clock: VirtualClock
    data: AnalyzerData = DATA
    on: bool = False
    said: list[str] = field(default_factory=list)
    off_fails: list[Exception] = field(default_factory=list)
    on_fails: Exception | None = None
    residual_ma: float = 0.0
    stuck: bool = False
    found: list[bool] = field(default_factory=list)
    began: bool = False
    """Whether anything was switched on yet: before, nothing flows."""

    @property
    def protections(self) -> Protections:
        return Protections(limit_in_on=True, state_read_back=True)

    def sent_limit_s(self, limit_s: float) -> float:
        return limit_s

    async def identify(self) -> str:
        return "scripted"

    async def set_load(self, load_ohm: float) -> None:
        self.said.append(f"load {load_ohm:g}")

    async def set_path(self, path: InputPath) -> None:
        self.said.append(path)

    async def switch_on(self, limit_s: float) -> None:
        self.on = self.began = True
        self.said.append(f"on {limit_s:g}")
        if self.on_fails is not None:
            raise self.on_fails

    async def switch_off(self) -> None:
        await anyio.lowlevel.checkpoint()
        self.said.append("off")
        if self.off_fails:
            raise self.off_fails.pop(0)
        self.on = self.stuck

    async def output_on(self) -> bool:
        await anyio.lowlevel.checkpoint()
        return self.on

    async def fetch_current(self) -> Reading:
        return Reading(self.residual_ma if self.began else 0.0, 1)

    async def fetch_leakage(self) -> Reading:
        return Reading(0.0, 1)

    async def reconnect(self) -> bool:
        self.said.append("found again?")
        return self.found.pop(0) if self.found else False

    async def set_contact_resistance(self, resistance_ohm: float) -> None:
        raise NotImplementedError


def bench_with(**script: object) -> tuple[Bench, ScriptedAnalyzer]:
    clock = VirtualClock(yield_every=1)
    analyzer = ScriptedAnalyzer(clock, **script)  # type: ignore[arg-type]
    asset = Asset(id="1", maker="m", model="g", serial="s")
    generator = AsyncMock()
    generator.setting_changed.return_value = ""
    return Bench("b", analyzer, generator, AbsentOperator(), clock, asset), analyzer


@pytest.mark.parametrize(("asked_w", "most_w"), [(100.0, 150.0), (2.0, 5.0), (390.0, 440.0)])
def test_a_reading_that_no_drift_explains_ends_an_activation(asked_w: float, most_w: float) -> None:
    """Half as much again, 3 W at small settings, a tenth above what the load is rated for."""
    bench, _ = bench_with()
    opened = Activation(bench, load_ohm=300, power_w=asked_w, limit_s=10)
    opened.note_current(1000 * (0.99 * most_w / 300) ** 0.5)
    with pytest.raises(ExcessiveOutput, match="RF was switched off at that reading"):
        opened.note_current(1000 * (1.01 * most_w / 300) ** 0.5)


async def test_on_carries_the_limit_and_off_is_read_back() -> None:
    bench, analyzer = bench_with()
    async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
        assert analyzer.on
    assert analyzer.said == ["load 300", "on 10", "off"]
    assert not analyzer.on


async def test_rf_is_unknown_and_its_age_counts_from_before_on_is_sent(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would notice RF called off while ON is on its way, and an age without that time."""
    bench, analyzer = bench_with()
    await bench.rf.evidence_on()
    states, switch_on = [bench.rf.state], analyzer.switch_on

    async def slowly(limit_s: float) -> None:
        states.append(bench.rf.state)
        await bench.clock.sleep(2.0)
        await switch_on(limit_s)

    monkeypatch.setattr(analyzer, "switch_on", slowly)
    async with activation(bench, load_ohm=300, power_w=100, limit_s=10) as opened:
        assert (opened.age_s, opened.left_s) == (2.0, 8.0)
    assert states == ["off", "unknown"]


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"load_ohm": 200.0}, "the load bank has no 200 ohm"),
        ({"power_w": 401.0}, "401 W is more than the load bank's 400 W"),
        ({"limit_s": 31.0}, "31 s is longer than the load bank's 30 s"),
        ({"limit_s": 26.0}, "26 s is more than the ON command can carry"),
    ],
)
async def test_outside_the_rating_nothing_is_switched_on(
    asked: dict[str, float], says: str
) -> None:
    bench, analyzer = bench_with()
    with pytest.raises(OutOfCapability, match=says):
        async with activation(bench, **{"load_ohm": 300, "power_w": 100, "limit_s": 10, **asked}):
            pytest.fail("the block was entered")
    assert analyzer.said == []


@pytest.mark.parametrize("error", [ValueError("x"), LinkTimeout("x")])
async def test_off_after_an_error_in_the_block(error: BaseException) -> None:
    bench, analyzer = bench_with()
    with pytest.raises(type(error)):
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
            raise error
    assert analyzer.said[-1] == "off"
    assert not analyzer.on


async def test_off_when_on_was_sent_and_its_answer_failed() -> None:
    bench, analyzer = bench_with(on_fails=LinkTimeout("no answer"))
    with pytest.raises(LinkTimeout):
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
            pytest.fail("the block was entered")
    assert not analyzer.on


async def test_after_a_stop_the_time_with_rf_on_counts_on_only_where_rf_is_not_off() -> None:
    """Would notice a view that goes on counting RF that was read as off, or stops before."""
    for fails in (None, LinkTimeout("nothing came")):
        bench, analyzer = bench_with()
        pending, shown = PendingEvents(), list[BenchStatus]()
        pending.on_at_s = 3.0
        if fails is not None:
            analyzer.output_on = AsyncMock(side_effect=fails)  # type: ignore[method-assign]
        await ensure_off_after(Stopped("A person stopped it."), bench, pending, shown.append)
        assert (shown[-1].rf, shown[-1].on_at_s) == (
            ("off", None) if fails is None else ("unknown", 3.0)
        )


async def test_rf_that_is_found_on_after_a_stop_is_shown_before_it_is_ended() -> None:
    """What was read before it stood there meanwhile: off, or no current."""
    bench, _ = bench_with(on=True)
    shown = list[BenchStatus]()
    await ensure_off_after(Stopped("A person stopped it."), bench, PendingEvents(), shown.append)
    assert [moment.rf for moment in shown] == ["on", "off"]


@pytest.mark.parametrize(
    "problem", [LinkTimeout("nothing came"), ProtocolError("another one each time")]
)
async def test_while_it_is_not_known_who_read_off_rf_is_unknown(problem: LinkError) -> None:
    """Would notice RF OFF on show, by an instrument that does not say that it is the one."""
    bench, analyzer = bench_with(found=[True])
    meanwhile = list[str]()
    analyzer.identify = AsyncMock(side_effect=[problem, "scripted"])  # type: ignore[method-assign]
    sleep = bench.clock.sleep

    async def looking(for_s: float) -> None:
        meanwhile.append(bench.rf.state)
        await sleep(for_s)

    bench.clock.sleep = looking  # type: ignore[method-assign]
    await release_module.confirmed_release(bench, current_seen=True)
    assert meanwhile == ["unknown"]
    assert bench.rf.state == "off"


async def test_off_in_a_cancelled_scope() -> None:
    bench, analyzer = bench_with()
    with anyio.CancelScope() as scope:
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
            scope.cancel()
            await bench.clock.sleep(1)
            pytest.fail("the cancellation was not heard")
    assert scope.cancelled_caught
    assert not analyzer.on


async def test_a_digit_that_changes_in_on_lets_nothing_be_on_for_longer(
    make_rig: Callable[..., Any],
) -> None:
    rig = make_rig()
    link = rig.bench.analyzer.dialogue.framing.link
    handle, dead = link._handle, False

    def worse_and_worse(line: bytes) -> bytes:
        nonlocal dead
        if dead:
            return b""
        dead = line == b"OUTPut:STATe ON,5.000\n"
        return handle(line.replace(b"5", b"9") if dead else line)

    link._handle = worse_and_worse
    with pytest.raises(ReleaseNotConfirmed):
        async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=5):
            pytest.fail("the block was entered")
    rig.bench.clock.advance(60)
    handle(b"*OPC?\n")
    spans = rig.hardware.truth.rf_on_intervals
    assert all(end is not None and end - start <= 5 for start, end in spans)


async def test_a_line_that_falls_silent_with_rf_on_soon_gets_off_again(
    make_rig: Callable[..., Any],
) -> None:
    """The line back may be what is broken: OFF came again after 7 s, and the warning after 8 s."""
    rig = make_rig()
    link, clock = rig.bench.analyzer.dialogue.framing.link, rig.bench.clock
    handle, offs = link._handle, list[float]()

    def deaf_after_on(line: bytes) -> bytes:
        if line.startswith(b"OUTPut:STATe OFF"):
            offs.append(clock.now_s())
        return b"" if rig.hardware.truth.rf_on else handle(line)

    link._handle = deaf_after_on
    with pytest.raises(RfUnsafe):
        async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=20):
            pytest.fail("the block was entered")
    assert len(offs) > 2
    assert all(after - before < 4 for before, after in pairwise(offs))


async def test_a_line_is_tried_once_with_rf_on_and_as_usual_once_it_reads_off(
    make_rig: Callable[..., Any],
) -> None:
    """Tried once for ever, the next reply that a line disturbs would end the run."""
    rig = make_rig()
    dialogue = rig.bench.analyzer.dialogue
    usual = dialogue.most_tries
    async with activation(rig.bench, load_ohm=300, power_w=100, limit_s=20):
        assert dialogue.most_tries == 1 < usual
    assert dialogue.most_tries == usual


async def test_a_line_that_stays_silent_gets_another_guard() -> None:
    """What hangs may be the guard: it is not waited for."""
    bench, analyzer = bench_with(off_fails=[LinkTimeout("t")])
    looked: list[bool] = []

    async def reconnect() -> bool:
        looked.append(True)
        return True

    analyzer.reconnect = reconnect  # type: ignore[method-assign]
    async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
        pass
    assert looked == [True]
    assert not analyzer.on


async def test_a_line_that_is_lost_again_as_it_is_found_leaves_rf_unknown() -> None:
    """A device server may accept a connection and close it at once: no mere fault of the line."""
    bench, analyzer = bench_with(off_fails=[LinkLost("gone")])

    async def reconnect() -> bool:
        raise LinkLost("gone again")

    analyzer.reconnect = reconnect  # type: ignore[method-assign]
    with pytest.raises(ReleaseNotConfirmed, match="RF MAY STILL BE ON: gone"):
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
            pass


async def test_off_is_repeated_until_it_is_read_back() -> None:
    bench, analyzer = bench_with(off_fails=[LinkTimeout("t"), ProtocolError("p")])
    async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
        pass
    assert analyzer.said.count("off") == 3
    assert not analyzer.on


async def test_a_process_stopped_until_the_time_was_over_looks_once_more(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(release_module, "RELEASE_BOUND_S", 0.01)
    bench, analyzer = bench_with()
    identify, slept = analyzer.identify, []

    async def stopped_in_the_middle() -> str:
        if not slept:
            slept.append(time.sleep(0.05))  # noqa: ASYNC251 - as a process that is stopped
            await anyio.sleep(0.01)
        return await identify()

    analyzer.identify = stopped_in_the_middle  # type: ignore[method-assign]
    async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
        pass
    assert slept
    assert not analyzer.on


async def test_a_release_that_takes_for_ever_ends_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(release_module, "RELEASE_BOUND_S", 0.01)
    monkeypatch.setattr(release_module, "LAST_TRY_BOUND_S", 0.01)
    bench, analyzer = bench_with()
    analyzer.switch_off = anyio.sleep_forever  # type: ignore[method-assign]
    with pytest.raises(ReleaseNotConfirmed, match="the time for reading it back ran out"):
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
            pass


async def test_rf_that_was_not_seen_to_stay_off_is_not_called_off(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would notice `RF OFF` on a screen beside the frame that says it may still be on."""
    monkeypatch.setattr(release_module, "RELEASE_BOUND_S", 0.01)
    monkeypatch.setattr(release_module, "LAST_TRY_BOUND_S", 0.01)
    bench, _ = bench_with()

    async def comes_and_goes(_: float) -> str | None:
        await anyio.sleep_forever()
        return None

    monkeypatch.setattr(bench.rf, "evidence_on_within", comes_and_goes)
    with pytest.raises(ReleaseNotConfirmed, match=r"ran out; .* it read off, and"):
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
            pass
    assert (bench.rf.state, rf_state.latest().may_be_on) == ("unknown", True)


async def test_a_release_names_what_was_seen_last(monkeypatch: pytest.MonkeyPatch) -> None:
    """Would notice a current that had gone, in place of the other analyzer that answers."""
    monkeypatch.setattr(release_module, "RELEASE_BOUND_S", 0.05)
    monkeypatch.setattr(release_module, "LAST_TRY_BOUND_S", 0.01)
    bench, analyzer = bench_with(residual_ma=200.0)

    async def another() -> str:
        await anyio.sleep(0.005)
        raise LinkError("p is now B, not A.")

    async def fades() -> None:
        analyzer.residual_ma = 0.0 if "off" in analyzer.said else 200.0
        analyzer.said.append("off")
        analyzer.on = False

    monkeypatch.setattr(analyzer, "identify", another)
    monkeypatch.setattr(analyzer, "switch_off", fades)
    with pytest.raises(ReleaseNotConfirmed, match=r"ran out; .*: p is now B, not A"):
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10) as opened:
            opened.current_seen = True


async def test_a_lost_line_is_looked_for_and_off_sent_there() -> None:
    bench, analyzer = bench_with(off_fails=[LinkLost("gone"), LinkLost("again")], found=[True] * 2)
    async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
        pass
    assert analyzer.said[2:] == ["off", "found again?", "off", "found again?", "off"]
    assert not analyzer.on


@pytest.mark.parametrize(
    "script",
    [
        lambda: {"stuck": True},
        lambda: {"residual_ma": 200.0},
        lambda: {"off_fails": [LinkLost("gone")]},
        lambda: {"off_fails": [LinkTimeout("t")] * 99},
    ],
)
async def test_release_that_is_not_confirmed_is_exit_code_5(
    script: Callable[[], dict[str, object]],
) -> None:
    bench, _ = bench_with(**script())
    with pytest.raises(ReleaseNotConfirmed, match="RF MAY STILL BE ON") as caught:
        async with activation(bench, load_ohm=300, power_w=100, limit_s=10):
            pass
    assert caught.value.exit_code == 5
    assert "mains switch" in caught.value.do
