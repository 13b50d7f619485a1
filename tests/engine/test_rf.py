"""What is said of RF is what was read: at first contact, in rests, after OFF and after a fault."""

from collections.abc import Callable
from typing import Any

import anyio
import anyio.lowlevel
import pytest

from ohmwright.engine import release as module
from ohmwright.engine.activation import activation
from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.session import Session
from ohmwright.engine.unasked_rf import ensure_off_at_start
from ohmwright.engine.watched_rest import confirm_nothing_flows, rest, wait_with_rf_off
from ohmwright.instruments.analyzer import Reading
from ohmwright.instruments.operator import StopRun
from ohmwright.instruments.remote_analyzer import RemoteAnalyzer, check_limit_agreement
from ohmwright.instruments.requests import ConnectPath
from ohmwright.model.bench_status import BenchStatus, OnStatus, ignore_status
from ohmwright.model.errors import (
    InstrumentRefused,
    LinkError,
    LinkLost,
    LinkTimeout,
    OffNotProved,
    ProcedureError,
    ReleaseNotConfirmed,
    SourceError,
    UnaskedOutput,
)
from ohmwright.model.event import (
    ActivationOpened,
    Event,
    Fault,
    RunStarted,
    SlowRelease,
    UnaskedRf,
)
from ohmwright.model.shipped import shipped
from ohmwright.model.step import Timing
from ohmwright.wire.command_set import CommandSet

pytestmark = pytest.mark.anyio
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")


def heard(rig: object, act: Callable[[bytes], bytes | None]) -> None:
    """Have `act` see each message to the analyzer first; what it returns is the reply."""
    link = rig.bench.analyzer.dialogue.framing.link
    handle = link._handle

    def port(line: bytes) -> bytes:
        reply = act(line)
        return handle(line) if reply is None else reply

    link._handle = port


async def kept(
    rig: object, stages: tuple = ("as_found",), on_status: OnStatus = ignore_status
) -> tuple[list[Event], Exception | None]:
    """The events of a run, and what it ended by."""
    events: list[Event] = []
    try:
        async for event in run(
            Job(read_procedure(MONOPOLAR), stages, "test"), rig.bench, on_status
        ):
            events.append(event)
    except Exception as error:
        return events, error
    return events, None


async def test_a_pedal_pressed_between_load_and_on_is_no_off(make_rig: Callable) -> None:
    rig = make_rig()
    loads = 0

    def act(line: bytes) -> None:
        nonlocal loads
        loads += line.startswith(b"INPut:IMPedance ")
        if loads == 4:
            rig.hardware.panel.pedal(down=True)

    heard(rig, act)
    events, error = await kept(rig)
    assert rig.hardware.truth.rf_on
    assert isinstance(error, ReleaseNotConfirmed)
    assert isinstance(events[-1], Fault)
    assert events[-1].rf_state == "on"


async def test_a_line_that_cannot_be_read_leaves_rf_unknown(make_rig: Callable) -> None:
    rig = make_rig()
    dead = False

    def act(line: bytes) -> bytes | None:
        nonlocal dead
        dead = dead or line.startswith(b"INPut:PATH")
        return b"" if dead else None

    heard(rig, act)
    events, error = await kept(rig)
    assert error is not None
    assert events[-1].rf_state == "unknown"


async def test_a_refusal_with_rf_off_is_recorded_as_off(make_rig: Callable) -> None:
    rig = make_rig()
    heard(rig, lambda line: b"" if line.startswith(b"INPut:IMPedance ") else None)
    rig.bench.analyzer.set_load = refused
    events, error = await kept(rig)
    assert isinstance(error, InstrumentRefused)
    assert events[-1].rf_state == "off"


async def refused(load_ohm: float) -> None:
    raise InstrumentRefused("no such load", code=-222)


@pytest.mark.parametrize("after_s", [0.1, 4.0])
@pytest.mark.parametrize(("setting_w", "load_ohm"), [(3.0, 2000.0), (3.0, 500.0), (300.0, 100.0)])
async def test_a_welded_contact_is_seen_at_any_output(
    make_rig: Callable, setting_w: float, load_ohm: float, after_s: float
) -> None:
    """3 W into 2000 ohm is 39 mA, 1.5 % of the meter's range; after 0.1 s nothing flows yet."""
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    rig.hardware.panel.select("cut", setting_w)

    async def weld() -> None:
        async with activation(rig.bench, load_ohm=load_ohm, power_w=setting_w, limit_s=8):
            await rig.bench.clock.sleep(after_s)
            rig.hardware.defects.contact_welded = True

    with pytest.raises(ReleaseNotConfirmed, match=r"mA read with the keying output open"):
        await weld()
    assert rig.hardware.truth.rf_on
    assert rig.bench.rf.state == "on"


async def test_a_limit_that_still_runs_is_no_off(make_rig: Callable) -> None:
    """OFF is swallowed, state and current lie; the countdown of the limit does not."""
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    lies = {b"OUTPut:STATe OFF\n": b"", b"OUTPut:STATe?\n": b"0\n"}
    shown = iter(n // 2 for n in range(10**6))

    def act(line: bytes) -> bytes | None:
        if line.startswith(b"FETCh:CURR"):
            return b"+0.0E+00,A,%05d\n" % (10**4 + next(shown))
        return lies.get(line)

    async def activate() -> None:
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=30):
            heard(rig, act)

    with pytest.raises(ReleaseNotConfirmed, match="of a limit are still running"):
        await activate()
    assert rig.hardware.truth.rf_on


async def test_what_flows_at_first_contact_is_no_zero(make_rig: Callable) -> None:
    rig = make_rig()
    heard(
        rig,
        lambda line: b"+1.10000E-02,A,%05d\n" % next(numbers) if b"FETCh:CURR" in line else None,
    )
    with pytest.raises(ReleaseNotConfirmed, match="11 mA read with the keying output open"):
        await ensure_off_at_start(rig.bench, PendingEvents())


numbers = iter(n // 2 for n in range(10**6))


async def test_after_rf_that_came_amid_the_measurement_of_zero_it_is_measured_anew(
    make_rig: Callable,
) -> None:
    rig, asked, is_off = make_rig(), iter(range(10**6)), False

    def act(line: bytes) -> bytes | None:
        nonlocal is_off
        is_off = is_off or line.startswith(b"OUTPut:STATe OFF")
        if b"FETCh:CURR" not in line:
            return None
        number = next(asked)
        return b"%+.5E,A,%05d\n" % (0.4 if number > 4 and not is_off else 0.0, number // 2)

    heard(rig, act)
    pending = PendingEvents()
    await ensure_off_at_start(rig.bench, pending)
    assert [type(event) for event in pending.take()] == [UnaskedRf]
    assert rig.bench.rf.zero_limit_ma < rig.bench.analyzer.data.meter.largest_zero_ma


def showing(rig: object, shown_ma: float) -> None:
    """Have the meter show `shown_ma` from now on, as its zero, whatever flows."""
    count = iter(n // 2 for n in range(10**6))

    def act(line: bytes) -> bytes | None:
        return b"%+.5E,A,%05d\n" % (shown_ma / 1000, next(count)) if b"FETCh:CURR" in line else None

    heard(rig, act)


@pytest.mark.parametrize(("stated_ma", "is_rf"), [(2.5, False), (None, True)])
async def test_a_zero_that_the_data_state_is_no_rf_however_it_was_at_first(
    make_rig: Callable, stated_ma: float | None, *, is_rf: bool
) -> None:
    rig = make_rig()
    data = rig.bench.analyzer.data
    meter = data.meter.model_copy(update={"zero_ma": stated_ma, "resolution_ma": 0.1})
    rig.bench.analyzer.data = data.model_copy(update={"meter": meter})
    showing(rig, 0.4)
    await ensure_off_at_start(rig.bench, PendingEvents())
    showing(rig, 1.1)
    assert (await rig.bench.rf.found_on() is not None) == is_rf


async def test_a_small_current_that_is_taken_for_rf_names_zero_ma(make_rig: Callable) -> None:
    rig = make_rig()
    showing(rig, 11)
    with pytest.raises(ReleaseNotConfirmed) as raised:
        await ensure_off_at_start(rig.bench, PendingEvents())
    assert "set zero_ma in [data.meter]" in raised.value.do
    showing(rig, 508)
    with pytest.raises(ReleaseNotConfirmed) as raised:
        await ensure_off_at_start(rig.bench, PendingEvents())
    assert "zero_ma" not in raised.value.do


async def test_a_line_that_is_lost_after_a_small_current_does_not_name_zero_ma(
    make_rig: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = make_rig()
    showing(rig, 11)
    analyzer, off, sent = rig.bench.analyzer, rig.bench.analyzer.switch_off, list[None]()

    async def lost_in_the_end() -> None:
        sent.append(None)
        if len(sent) == 3:
            raise LinkLost("The line to the analyzer is gone.")
        await off()

    async def no_line() -> bool:
        return False

    monkeypatch.setattr(analyzer, "switch_off", lost_in_the_end)
    monkeypatch.setattr(analyzer, "reconnect", no_line)
    with pytest.raises(ReleaseNotConfirmed, match="BE ON: The line to the analyzer is") as raised:
        await ensure_off_at_start(rig.bench, PendingEvents())
    assert raised.value.do == f"{module.MAINS_SWITCH} Then find out why."


async def test_a_release_that_ran_out_of_time_tells_what_was_seen(
    make_rig: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    monkeypatch.setattr(module, "RELEASE_BOUND_S", 0.01)
    monkeypatch.setattr(module, "LAST_TRY_BOUND_S", 0.01)
    rig.bench.analyzer.identify = anyio.sleep_forever
    showing(rig, 508)
    evidence = rig.bench.rf.evidence_on

    async def once() -> str | None:
        problem = await evidence()
        rig.bench.analyzer.switch_off = anyio.sleep_forever
        return problem

    rig.bench.rf.evidence_on = once
    with pytest.raises(ReleaseNotConfirmed, match="off: 508 mA read with the keying output open"):
        await module.confirmed_release(rig.bench, current_seen=True)


async def test_a_meter_that_shows_something_at_zero_has_a_zero(make_rig: Callable) -> None:
    rig = make_rig()
    shown = iter(n // 2 for n in range(10**6))
    heard(
        rig, lambda line: b"+4.00000E-03,A,%05d\n" % next(shown) if b"FETCh:CURR" in line else None
    )
    await ensure_off_at_start(rig.bench, PendingEvents())
    assert rig.bench.rf.state == "off"
    assert rig.bench.rf.zero_limit_ma == pytest.approx(7.0)


async def test_rf_unasked_in_a_rest_is_seen_and_said(make_rig: Callable) -> None:
    rig = make_rig()
    session = Session(rig.bench)
    moments: list[BenchStatus] = []
    await ensure_off_at_start(rig.bench, PendingEvents())
    async with session.activation(load_ohm=500, power_w=300, limit_s=10):
        await rig.bench.clock.sleep(6)

    def look(moment: BenchStatus) -> None:
        moments.append(moment)
        if len(moments) == 5:
            rig.hardware._rig.close_contact(20.0)  # a contact that closes by itself

    session.on_status = look
    await rest(session, Timing(rest_s=20), power_w=100, tolerance=0)
    assert not rig.hardware.truth.rf_on
    (_, _), (on_s, off_s) = rig.hardware.truth.rf_on_intervals
    assert off_s - on_s < 2
    (noted,) = session.pending.take()
    assert isinstance(noted, UnaskedRf)
    assert noted.on_s is not None
    assert off_s - on_s <= noted.on_s < off_s - on_s + 1.5
    assert session.on_s == session.last_on_s + noted.on_s
    assert rig.bench.clock.now_s() - off_s >= 20 - 1
    assert {moment.rf for moment in moments} == {"off", "on"}


async def test_current_in_a_circuit_just_joined_is_ended_and_is_rf(make_rig: Callable) -> None:
    """Notices a look after a change of circuit that looks at nothing, or tells no rest of it."""
    rig = make_rig()
    session = Session(rig.bench)
    await ensure_off_at_start(rig.bench, PendingEvents())
    await confirm_nothing_flows(session)
    assert not session.pending.take()
    rig.hardware._rig.close_contact(20.0)
    await confirm_nothing_flows(session)
    assert not rig.hardware.truth.rf_on
    (noted,) = session.pending.take()
    assert isinstance(noted, UnaskedRf)
    assert session.warmth.unasked_off_s == rig.bench.clock.now_s()


async def test_rf_at_first_contact_is_ended_and_on_record(make_rig: Callable) -> None:
    """Would notice RF that was on before the run, was ended, and of which nobody hears."""
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    rig.hardware._rig.close_contact(20.0)
    events, _ = await kept(rig)
    (noted,) = (event for event in events if isinstance(event, UnaskedRf))
    assert noted.seen == "the analyzer's keying output reads closed"
    assert noted.on_s is None, "nobody looked between the runs"
    assert events.index(noted) > events.index(next(e for e in events if isinstance(e, RunStarted)))
    assert [e.bench_s for e in events] == sorted(e.bench_s for e in events)


async def test_rf_that_will_not_stay_off_ends_the_run(make_rig: Callable) -> None:
    rig = make_rig()
    session = Session(rig.bench)
    await ensure_off_at_start(rig.bench, PendingEvents())

    def close_again(_: BenchStatus) -> None:
        if not rig.hardware.truth.rf_on:
            rig.hardware._rig.close_contact(5.0)

    session.on_status = close_again
    with pytest.raises(UnaskedOutput, match="3 times in one rest"):
        await wait_with_rf_off(session, 20)
    assert not rig.hardware.truth.rf_on
    assert len(session.pending.take()) == 3


async def test_a_pedal_that_is_held_in_a_rest_is_code_5(make_rig: Callable) -> None:
    rig = make_rig()
    session = Session(rig.bench)
    await ensure_off_at_start(rig.bench, PendingEvents())
    async with session.activation(load_ohm=500, power_w=300, limit_s=10):
        await rig.bench.clock.sleep(6)
    session.on_status = lambda _: rig.hardware.panel.pedal(down=True)
    with pytest.raises(ReleaseNotConfirmed):
        await rest(session, Timing(rest_s=20), power_w=100, tolerance=0)


async def test_rf_that_is_on_before_on_is_ended_and_told(make_rig: Callable) -> None:
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    rig.hardware._rig.close_contact(20.0)
    with pytest.raises(UnaskedOutput, match="nobody had asked for"):
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=5):
            pytest.fail("the block was entered")
    assert not rig.hardware.truth.rf_on


async def test_a_release_that_takes_long_is_an_event(make_rig: Callable) -> None:
    rig = make_rig()
    session, deaf = Session(rig.bench), iter(range(8))
    await ensure_off_at_start(rig.bench, PendingEvents())
    heard(rig, lambda line: b"" if line == b"OUTPut:STATe OFF\n" and next(deaf, 9) < 8 else None)
    async with session.activation(load_ohm=500, power_w=100, limit_s=10):
        await rig.bench.clock.sleep(2)
    (noted,) = session.pending.take()
    assert isinstance(noted, SlowRelease)
    assert 0.7 < noted.took_s < 2
    assert noted.sent == 9


@pytest.mark.parametrize("ignored", [0, 1])
async def test_off_that_was_ignored_once_is_on_record(make_rig: Callable, ignored: int) -> None:
    rig = make_rig()
    session, heard_off = Session(rig.bench), iter(range(9))
    await ensure_off_at_start(rig.bench, PendingEvents())

    def act(line: bytes) -> bytes | None:
        """No reply belongs to OFF, so an ignored one looks like one that was obeyed."""
        is_off = line == b"OUTPut:STATe OFF\n"
        return b"" if is_off and next(heard_off) < ignored else None

    heard(rig, act)
    async with session.activation(load_ohm=500, power_w=100, limit_s=10):
        await rig.bench.clock.sleep(2)
    noted = [(type(event), event.sent) for event in session.pending.take()]
    assert noted == [(SlowRelease, 2)] * ignored


async def test_a_release_that_waits_to_be_sure_is_not_slow(make_rig: Callable) -> None:
    rig = make_rig()
    session = Session(rig.bench)
    await ensure_off_at_start(rig.bench, PendingEvents())
    async with session.activation(load_ohm=500, power_w=100, limit_s=10):
        await rig.bench.clock.sleep(2)  # no reading is looked at, so nothing was seen to flow
    assert list(session.pending.take()) == []


async def test_off_that_only_the_limit_ends_is_not_confirmed(make_rig: Callable) -> None:
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    rig.bench.analyzer.told_in = "the release orders of its back end"
    heard(rig, lambda line: b"" if line == b"OUTPut:STATe OFF\n" else None)
    with pytest.raises(OffNotProved, match="OFF DOES NOT SWITCH OFF") as raised:
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=3):
            await rig.bench.clock.sleep(2)
    assert "check 'off' in the release orders of its back end" in raised.value.do


async def test_nor_where_its_time_ran_out_as_the_limit_did(
    make_rig: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the first release saw is known to the one after it, which finds RF off."""
    rig, tries = make_rig(), list[float]()
    monkeypatch.setattr(module, "RELEASE_BOUND_S", 0.1)
    await ensure_off_at_start(rig.bench, PendingEvents())
    heard(rig, lambda line: b"" if line == b"OUTPut:STATe OFF\n" else None)
    switch_off = rig.bench.analyzer.switch_off

    async def slow() -> None:
        await switch_off()
        tries.append(rig.bench.clock.now_s())
        if len(tries) == 4:
            rig.bench.clock.advance(1.0)
            await anyio.sleep(60)

    monkeypatch.setattr(rig.bench.analyzer, "switch_off", slow)
    with pytest.raises(OffNotProved, match="OFF DOES NOT SWITCH OFF"):
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=3):
            await rig.bench.clock.sleep(2)
    assert len(tries) > 4


@pytest.mark.parametrize(
    ("lies", "said"), [((b"STATe?",), "DOES NOT"), ((b"STATe?", b"REMaining?"), "MAY NOT")]
)
async def test_nor_is_one_whose_state_reads_off_meanwhile(
    make_rig: Callable, lies: tuple[bytes, ...], said: str
) -> None:
    """OFF is lost each time, and what is asked for the state says 0: the current still flows."""
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    off: list[bytes] = []

    def lie(line: bytes) -> bytes | None:
        if line == b"OUTPut:STATe OFF\n":
            off.append(line)
            return b""
        return b"0\n" if off and any(each in line for each in lies) else None

    heard(rig, lie)
    with pytest.raises(OffNotProved, match=f"OFF {said} SWITCH OFF"):
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=7):
            await rig.bench.clock.sleep(4.5)


async def test_another_instrument_that_reads_off_leaves_rf_unknown(make_rig: Callable) -> None:
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    await rig.bench.analyzer.identify()
    other: list[bytes] = []

    def lie(line: bytes) -> bytes | None:
        if not other or b"*ESE" in line:
            return None
        if b"*IDN?" in line:
            return b"Hollin & Skerry,Gantry 400,S000099,1.0\n"
        return b"" if b"OFF" in line else b"0\n" if b"STATe?" in line or b"REM" in line else None

    heard(rig, lie)

    async def swapped() -> None:
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=20):
            await rig.bench.clock.sleep(0.1)
            other.append(b"")

    with pytest.raises(ReleaseNotConfirmed):
        await swapped()
    assert rig.bench.rf.state != "off"


async def test_a_glance_at_off_is_a_reading_of_rf(make_rig: Callable) -> None:
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    await rig.bench.clock.sleep(5.0)
    assert rig.bench.rf.read_ago_s >= 5.0
    assert await rig.bench.rf.found_on() is None
    assert rig.bench.rf.read_ago_s < 0.5


@pytest.mark.parametrize(("noise", "within_s"), [(b"", 2.3), (b"\xff\x00?\n", 1.3)])
async def test_off_does_not_wait_for_a_line_that_turned_bad(
    make_rig: Callable, noise: bytes, within_s: float
) -> None:
    """One time-out of the question and one of finding the step again, then OFF."""
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    clock, bad_from_s = rig.bench.clock, []
    heard(rig, lambda line: noise if bad_from_s and b"OFF" not in line else None)

    async def read_on() -> None:
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=20):
            await clock.sleep(2)
            bad_from_s.append(clock.now_s())
            await rig.bench.analyzer.fetch_current()

    with pytest.raises(ReleaseNotConfirmed):
        await read_on()
    (_, off_s) = rig.hardware.truth.rf_on_intervals[-1]
    assert off_s - bad_from_s[0] < within_s


async def test_off_does_not_wait_for_noise_to_end(
    make_rig: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """RF may itself disturb the line, without a pause: one time-out (1 s), a listen, then OFF."""
    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    clock, link, sent_s = rig.bench.clock, rig.bench.analyzer.dialogue.framing.link, list[float]()

    heard_as_usual = link.read

    async def noise(timeout_s: float) -> bytes:
        if not rig.hardware.truth.rf_on:
            return await heard_as_usual(timeout_s)
        await anyio.lowlevel.checkpoint()
        clock.advance(min(timeout_s, 0.02))
        return b"\x80"

    async def read_on() -> None:
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=20):
            await clock.sleep(2)
            sent_s.append(clock.now_s())
            monkeypatch.setattr(link, "read", noise)
            await rig.bench.analyzer.fetch_current()

    with pytest.raises(LinkError):
        await read_on()
    (_, off_s) = rig.hardware.truth.rf_on_intervals[-1]
    assert off_s - sent_s[0] < 2.1


async def test_a_release_is_bounded_by_the_machines_time(
    make_rig: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However slow each try, and whatever the bench's clock says."""
    import anyio

    rig = make_rig()
    await ensure_off_at_start(rig.bench, PendingEvents())
    monkeypatch.setattr(module, "RELEASE_BOUND_S", 0.2)
    monkeypatch.setattr(module, "LAST_TRY_BOUND_S", 0.1)
    began_s, tries, told = anyio.current_time(), 0, list[tuple[int, str]]()

    async def never() -> None:
        nonlocal tries
        tries += 1
        await anyio.sleep(20)

    async def tell(words: str) -> None:
        told.append((tries, words))

    rig.bench.analyzer.switch_off, rig.bench.operator.tell = never, tell
    with pytest.raises(ReleaseNotConfirmed, match="the time for reading it back ran out"):
        async with activation(rig.bench, load_ohm=500, power_w=100, limit_s=3):
            pass
    assert anyio.current_time() - began_s < 10
    [(tries_before, words)] = told  # a person hears of it before the last try
    assert (tries_before, tries) == (1, 2)
    assert "RF MAY STILL BE ON" in words


async def test_a_guard_is_proved_before_nobody_stays(make_rig: Callable) -> None:
    rig = make_rig()
    proved: list[bool] = []

    async def prove(*_: object) -> bool:
        proved.append(rig.hardware.truth.rf_on)
        return True

    rig.bench.analyzer.prove_watchdog = prove
    await kept(rig)
    assert proved[0] is False


async def test_the_record_says_what_was_sent_and_what_protected(make_rig: Callable) -> None:
    rig = make_rig()
    events, _ = await kept(rig)
    started = next(e for e in events if isinstance(e, RunStarted))
    assert dict(started.protections.words()) == {
        "time limit sent with ON, kept by the analyzer": True,
        "ceiling for that limit, read back before ON": True,
        "running limit read back after ON": True,
        "guard process that owns the analyzer's port": False,
        "output state read back": True,
        "load resistance read back (the analyzer's own word)": True,
        "input path set by the analyzer": True,
        "input path read back (the analyzer's own word)": True,
        "line proved in step and undistorted": True,
    }
    opened = [e for e in events if isinstance(e, ActivationOpened)]
    assert all(e.limit_s == 20 for e in opened[2:])
    assert opened[2].setting_w == 310


def changed(rig: object, **tell: str) -> RemoteAnalyzer:
    """The rig's analyzer with other messages."""
    analyzer = rig.bench.analyzer
    commands = analyzer.dialogue.commands
    said = commands.model_dump(exclude_unset=True)
    analyzer.dialogue.commands = CommandSet.model_validate(
        {**said, "tell": {**said["tell"], **tell}}
    )
    return analyzer


def test_a_limit_in_whole_units_is_rounded_down(make_rig: Callable) -> None:
    analyzer = changed(make_rig(), on="ON {limit_s:d}", off="OFF")
    assert analyzer.sent_limit_s(15.9) == 15
    assert analyzer.dialogue.commands.message("on", {"limit_s": 15.9}) == b"ON 15\n"
    analyzer = changed(make_rig(), on="ON {limit_s:.0f}", off="OFF")
    assert analyzer.sent_limit_s(15.9) == 15


def test_data_and_command_set_must_agree_on_the_limit(make_rig: Callable) -> None:
    analyzer = changed(make_rig(), on="ON", off="OFF")
    with pytest.raises(SourceError, match="state the largest time limit"):
        check_limit_agreement(analyzer.data, analyzer.dialogue.commands)


async def test_a_path_that_cannot_be_set_is_a_persons_to_join(make_rig: Callable) -> None:
    def deaf(rig: object) -> object:
        commands = rig.bench.analyzer.dialogue.commands
        tell = {verb: text for verb, text in commands.tell.items() if verb != "set_path"}
        deaf = commands.model_copy(update={"tell": tell})
        rig.bench.analyzer.dialogue.commands, rig.bench.analyzer.verbs = deaf, deaf.verbs
        return rig

    _, error = await kept(deaf(make_rig()))
    assert isinstance(error, ProcedureError)
    assert "a person must join the input" in str(error)
    rig = deaf(make_rig(attended=True))
    asked: list[str] = []
    reply = rig.bench.operator.reply

    async def join(request: object, problem: str) -> str:
        if isinstance(request, ConnectPath):
            asked.append(request.path)
            rig.hardware._rig.set_path(request.path)
        return await reply(request, problem)

    rig.bench.operator.reply = join
    events, error = await kept(rig)
    assert error is None
    at = asked.index("LEAKAGE")
    assert (asked[0], asked[at - 1 : at + 2]) == ("OUTPUT", ["OUTPUT", "LEAKAGE", "OUTPUT"])
    assert {r.verdict for r in results(events) if r.kind == "leakage"} == {"pass"}


async def dead_off(rig: Any) -> float:
    """Hold RF on by a pedal that OFF does not end; when OFF was due, s of the bench's clock."""
    rig.hardware.panel.select("cut", 30.0)
    await ensure_off_at_start(rig.bench, PendingEvents())
    left_s = 0.0

    async def hold() -> None:
        nonlocal left_s
        async with activation(rig.bench, load_ohm=500, power_w=30, limit_s=8):
            await rig.bench.clock.sleep(2)
            rig.hardware.panel.pedal(down=True)
            left_s = rig.bench.clock.now_s()

    with pytest.raises(ReleaseNotConfirmed):
        await hold()
    assert rig.hardware.truth.rf_on
    return left_s


async def test_where_nobody_is_there_a_dead_off_is_logged_for_who_passes_by(
    make_rig: Callable, caplog: pytest.LogCaptureFixture
) -> None:
    rig = make_rig()
    assert not rig.bench.operator.present
    await dead_off(rig)
    [told] = caplog.records
    assert told.levelname == "CRITICAL"
    assert "RF MAY STILL BE ON" in told.message


async def test_a_dead_off_is_told_while_off_is_still_tried(make_rig: Callable) -> None:
    """Not after the second bounded try: the person can do what OFF cannot."""
    rig, told = make_rig(), list[tuple[float, str]]()

    async def tell(words: str) -> None:
        told.append((rig.bench.clock.now_s(), words))

    rig.bench.operator.tell = tell
    left_s = await dead_off(rig)
    [(told_s, words)] = told
    after_s = told_s - left_s
    assert after_s < module.meter_shows_s(rig.bench) + 1 < module.RELEASE_BOUND_S
    assert "RF MAY STILL BE ON" in words
    assert "mains switch now" in words


async def test_a_warning_is_taken_back_and_kept_where_the_meter_was_only_late(
    make_rig: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Who was told to switch off at the mains must know that RF may come on again."""
    rig, told = make_rig(), list[str]()
    rig.hardware.panel.select("cut", 30.0)
    await ensure_off_at_start(rig.bench, PendingEvents())
    session, evidence_on, clock = Session(rig.bench), rig.bench.rf.evidence_on, rig.bench.clock

    async def tell(words: str) -> None:
        told.append(words)

    async def late() -> str | None:
        still = await evidence_on()
        if clock.now_s() >= off_s + 3:
            return still
        rig.bench.rf.reading = Reading(60.0, None)
        return "the meter shows 60 mA"

    rig.bench.operator.tell = tell
    async with session.activation(load_ohm=500, power_w=30, limit_s=20):
        await clock.sleep(3.0)
        off_s = clock.now_s()
        monkeypatch.setattr(rig.bench.rf, "evidence_on", late)
    warned, taken_back = told
    assert "RF MAY STILL BE ON" in warned
    assert taken_back.startswith("RF reads off now, ")
    (slow,) = [event for event in session.pending.take() if isinstance(event, SlowRelease)]
    assert 2.5 < slow.took_s < 3.2


def off_is_late(rig: Any, after: int) -> None:
    """Have OFF take effect 3 s late, once, at the activation `after` so many."""
    ons, clock, off_s = 0, rig.bench.clock, list[float]()

    def act(line: bytes) -> bytes | None:
        nonlocal ons
        ons += line.startswith(b"OUTPut:STATe ON")
        if line != b"OUTPut:STATe OFF\n" or ons <= after or not rig.hardware.truth.rf_on:
            return None
        off_s.append(clock.now_s())
        return b"" if clock.now_s() < off_s[0] + 3 else None

    heard(rig, act)


async def activated(rig: Any, session: Session, times: int = 1) -> None:
    """Hold RF on for 3 s, so many times."""
    for _ in range(times):
        async with session.activation(load_ohm=500, power_w=30, limit_s=20):
            await rig.bench.clock.sleep(3.0)


async def test_after_a_warning_an_unattended_run_ends_with_rf_off(
    make_rig: Callable, caplog: pytest.LogCaptureFixture
) -> None:
    """Whoever was told to use the mains switch may be at the generator: nobody says who is."""
    rig = make_rig()
    off_is_late(rig, after=4)
    events, error = await kept(rig)
    warned, taken_back = (record.message for record in caplog.records)
    assert "mains switch now" in warned
    assert taken_back.endswith(" s after OFF. It does not come on again before you say so.")
    assert isinstance(error, OffNotProved)
    assert error.exit_code == 5
    assert "OFF CAME LATE: RF reads off now, " in str(error)
    assert events[-1].rf_state == "off"
    assert sum(isinstance(event, ActivationOpened) for event in events) == 5
    assert not rig.hardware.truth.rf_on


async def test_after_a_warning_a_run_goes_on_by_a_persons_word_on_record(
    make_rig: Callable,
) -> None:
    rig = make_rig(attended=True)
    off_is_late(rig, after=1)
    events, error = await kept(rig)
    assert error is None
    words = [getattr(event, "question", "") for event in events]
    [at] = [n for n, question in enumerate(words) if question.endswith("may RF come on again?")]
    assert events[at].answer == "yes"
    assert isinstance(events[at + 1], ActivationOpened)


def line_is_silent(rig: Any, for_s: float) -> None:
    """Have the analyzer's line deliver nothing for so long, from 1 s after the first ON."""
    clock, on_s = rig.bench.clock, list[float]()

    def act(line: bytes) -> bytes | None:
        if line.startswith(b"OUTPut:STATe ON"):
            on_s.append(clock.now_s())
        silent = on_s and 1.0 < clock.now_s() - on_s[0] < 1.0 + for_s
        return b"" if silent else None

    heard(rig, act)


async def read_for(rig: Any, session: Session, lasts_s: float) -> None:
    """Hold RF on for so long, reading the current."""
    async with session.activation(load_ohm=500, power_w=30, limit_s=20) as opened:
        while opened.age_s < lasts_s:
            await rig.bench.analyzer.fetch_current()
            await rig.bench.clock.sleep(0.1)


@pytest.mark.parametrize(("attended", "error"), [(False, OffNotProved), (True, LinkTimeout)])
async def test_a_line_that_fails_with_rf_on_tells_a_script_that_off_came_late(
    make_rig: Callable, attended: bool, error: type[Exception]
) -> None:
    """By the code of a line that failed, a script would begin again, and RF come on."""
    rig = make_rig(attended=attended)
    rig.hardware.panel.select("cut", 30.0)
    await ensure_off_at_start(rig.bench, PendingEvents())
    session = Session(rig.bench)
    line_is_silent(rig, 6.0)
    with pytest.raises(error) as ended:
        await read_for(rig, session, 5.0)
    assert ("OFF CAME LATE: RF reads off now, " in str(ended.value)) is not attended
    assert "did not answer" in str(ended.value)
    assert "window_s" not in rig.bench.rf.off_after_warning, "the line was silent, not the meter"
    assert not rig.hardware.truth.rf_on


@pytest.mark.parametrize("said", ["n", "stop"])
async def test_after_a_warning_nothing_is_sent_before_all_are_clear(
    make_rig: Callable, said: str
) -> None:
    rig, sent, asked = make_rig(attended=True), list[bytes](), list[str]()
    rig.hardware.panel.select("cut", 30.0)
    await ensure_off_at_start(rig.bench, PendingEvents())
    off_is_late(rig, after=0)
    session = Session(rig.bench)
    await activated(rig, session)

    async def reply(request: Any, problem: str) -> str:
        asked.append(request.text)
        return said

    rig.bench.operator.reply = reply
    heard(rig, lambda line: sent.append(line))
    for _ in range(2):  # it stands until somebody has said yes
        with pytest.raises(StopRun):
            await activated(rig, session)
    assert not sent
    said = "y"
    await activated(rig, session, times=2)
    assert len(asked) == 3
    assert asked[0].startswith("After the warning came: RF reads off now, ")
    assert asked[0].endswith(
        " s after OFF. Are all clear of the generator, and may RF come on again?"
    )


@pytest.mark.parametrize("on_for_s", [0.5, 3.0])
async def test_rf_counts_until_it_was_first_read_as_off(
    make_rig: Callable, on_for_s: float
) -> None:
    """Without a current a release looks on for two seconds more, in which RF was off."""
    rig = make_rig()
    rig.hardware.panel.select("cut", 30.0)
    await ensure_off_at_start(rig.bench, PendingEvents())
    session = Session(rig.bench)
    async with session.activation(load_ohm=500, power_w=30, limit_s=8):
        await rig.bench.clock.sleep(on_for_s)
    assert rig.hardware.truth.rf_on_s <= session.on_s
    assert on_for_s <= session.on_s < on_for_s + 1


async def test_a_view_shows_what_was_read_after_a_fault(make_rig: Callable) -> None:
    """Not what was read before it: RF OFF beside a warning that RF may be on is no truth."""
    rig, shown, dead = make_rig(), list[BenchStatus](), False

    def act(line: bytes) -> bytes | None:
        nonlocal dead
        dead = dead or line.startswith(b"INPut:PATH")
        return b"" if dead else None

    heard(rig, act)
    events, error = await kept(rig, on_status=shown.append)
    assert error is not None
    assert isinstance(events[-1], Fault)
    assert shown[-1].rf == events[-1].rf_state == "unknown"


async def test_where_rf_was_not_read_as_off_its_time_counts_on(make_rig: Callable) -> None:
    """Would notice a view that stops counting while RF may still be on."""
    for stays in (False, True):
        rig = make_rig()
        await ensure_off_at_start(rig.bench, PendingEvents())
        session = Session(rig.bench)
        try:
            async with session.activation(load_ohm=500, power_w=300, limit_s=10):
                await rig.bench.clock.sleep(3)
                rig.hardware.defects.contact_welded = stays
        except ReleaseNotConfirmed:
            assert stays
        assert (session.pending.on_at_s is not None) == stays


async def test_what_is_refused_with_rf_on_names_rf(make_rig: Callable) -> None:
    """Most instruments refuse much while RF is on: their manual is not the cause."""
    rig = make_rig()

    def act(line: bytes) -> bytes | None:
        if line == b"INPut:PATH LEAKAGE\n":
            rig.hardware._rig.close_contact(20.0)  # a contact that closes by itself

    heard(rig, act)
    events, error = await kept(rig)
    assert isinstance(error, UnaskedOutput)
    assert "reads closed" in error.happened
    assert "refused 'INPut:PATH LEAKAGE'" in error.happened
    assert isinstance(events[-1], Fault)
    assert (events[-1].error, events[-1].rf_state) == ("UnaskedOutput", "off")
    assert not rig.hardware.truth.rf_on
