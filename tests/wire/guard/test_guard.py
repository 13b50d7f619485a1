"""The guard's process, in a real child process, with an instrument on a pseudo-terminal."""

import errno
import multiprocessing
import os
import select
import signal
import socket
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import anyio
import pytest

from ohmwright.model.errors import GuardTripped, LinkBusy, LinkError, LinkLost, LinkTimeout
from ohmwright.wire.clock import RealClock
from ohmwright.wire.command_set import load_command_set
from ohmwright.wire.dialogue import Dialogue
from ohmwright.wire.guard import launcher, process
from ohmwright.wire.guard import link as guard_link
from ohmwright.wire.guard.frames import DATA, HEARTBEAT, WATCH, Unpacker, pack
from ohmwright.wire.guard.link import GuardedLink
from ohmwright.wire.guard.opening import open_guarded_serial
from ohmwright.wire.guard.orders import ReleaseOrders
from ohmwright.wire.guard.port_release import PortRelease
from ohmwright.wire.links import ports
from ohmwright.wire.off import OffTeller

from .conftest import ORDERS, Analyzer

pytestmark = pytest.mark.anyio
COMMANDS = load_command_set("scpi-1999-analyzer", Path("bench.toml"))


class Instrument(threading.Thread):
    """Answers whether its output is on; `deaf` says nothing, and hears no OFF."""

    def __init__(self) -> None:
        super().__init__(daemon=True)
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.device = os.ttyname(self.slave)
        self.on, self.deaf, self.stop = False, False, False
        self.off_does_nothing = False
        self.heard: list[bytes] = []
        self.offs = threading.Semaphore(0)

    def run(self) -> None:
        left = b""
        while True:
            if not select.select([self.master], [], [], 0.02)[0]:
                if self.stop:
                    return
                continue
            *lines, left = (left + os.read(self.master, 4096)).split(b"\n")
            for line in lines:
                self._hear(line)

    def _hear(self, line: bytes) -> None:
        self.heard.append(line)
        if line.startswith(b"OUTPut:STATe ON"):
            self.on = True
        elif line == b"OUTPut:STATe OFF":
            self.on = self.on and (self.deaf or self.off_does_nothing)
            self.offs.release()
        elif self.deaf:
            return
        elif line == b"OUTPut:STATe?":
            os.write(self.master, b"1\n" if self.on else b"0\n")
        elif line.startswith(b"*CLS"):
            os.write(self.master, line.split()[1].split(b";")[0] + b"\n")
        elif line.endswith(b"ERRor?"):
            os.write(self.master, b'0,"No error"\n')


@pytest.fixture
def instrument(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Instrument]:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    instrument = Instrument()
    instrument.start()
    yield instrument
    instrument.stop = True
    instrument.join()
    os.close(instrument.master)
    os.close(instrument.slave)


def replug(instrument: Instrument) -> None:
    """Pull the instrument out; it comes back as another device."""
    instrument.stop = True
    instrument.join()
    gone = instrument.master, instrument.slave
    Instrument.__init__(instrument)
    for descriptor in gone:
        os.close(descriptor)
    instrument.start()


async def guarded(instrument: Instrument) -> GuardedLink:
    return await open_guarded_serial(instrument.device, baud=115200, commands=COMMANDS)


def off_was_sent(instrument: Instrument) -> bool:
    return instrument.offs.acquire(timeout=60)


async def test_a_computer_without_room_for_another_process(
    instrument: Instrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It was called a fault of the program."""

    def refused(*_: object, **__: object) -> None:
        raise BlockingIOError(errno.EAGAIN, "Resource temporarily unavailable")

    with monkeypatch.context() as full:
        full.setattr(launcher.subprocess, "Popen", refused)
        with pytest.raises(LinkError, match=r"guard of .* cannot be started: Resource temp"):
            await guarded(instrument)
    await (await guarded(instrument)).aclose()  # the port is free again


async def test_an_engine_that_vanishes_while_watched_leaves_the_output_off(
    instrument: Instrument,
) -> None:
    link = await guarded(instrument)
    await link.expect_traffic(5.0)
    await link.write(b"OUTPut:STATe ON,9\n")
    await link.aclose()  # to the guard an end is an end, however it came
    assert off_was_sent(instrument)
    assert not instrument.on


def may_raise_a_priority() -> bool:
    """Whether one may, and these tests were started with the usual one, which alone is raised."""
    tried = "import os; os.setpriority(os.PRIO_PROCESS, 0, -1)"
    done = subprocess.run([sys.executable, "-c", tried], check=False, capture_output=True)
    return done.returncode == 0 and os.getpriority(os.PRIO_PROCESS, 0) == 0


async def test_a_guard_runs_before_others_where_the_system_lets_it(instrument: Instrument) -> None:
    link = await guarded(instrument)
    priority = -10 if may_raise_a_priority() else os.getpriority(os.PRIO_PROCESS, 0)
    assert os.getpriority(os.PRIO_PROCESS, link._channel.pid) == priority
    await link.aclose()


@pytest.mark.skipif(not hasattr(signal, "SIGSTOP"), reason="processes stopped by signal")
async def test_a_silence_is_the_guards_where_the_guard_is_stopped(instrument: Instrument) -> None:
    link = await guarded(instrument)
    instrument.deaf = True
    await link.check_guard()  # a silent instrument is not the guard
    instrument.deaf = False
    os.kill(link._channel.pid, signal.SIGSTOP)
    with pytest.raises(LinkLost, match=f"guard of .* .process {link._channel.pid}. does not ans"):
        await link.check_guard()
    with pytest.raises(LinkLost):  # at once: nobody waits for an answer any more
        await link.write(b"OUTPut:STATe OFF\n")
    assert await link.reconnect()
    await link.write(b"OUTPut:STATe OFF\n")
    assert off_was_sent(instrument)
    await link.aclose()


async def test_what_was_not_watched_is_left_alone(instrument: Instrument) -> None:
    link = await guarded(instrument)
    await link.write(b"*IDN?\n")
    await link.expect_traffic(5.0)
    await link.expect_traffic(None)
    await link.aclose()
    instrument.stop = True
    instrument.join()
    assert instrument.heard == [b"*IDN?"]


async def test_silence_trips_it_and_the_engine_is_told_once(instrument: Instrument) -> None:
    link = await guarded(instrument)
    dialogue = Dialogue(link, COMMANDS, RealClock())
    await link.expect_traffic(0.5)
    await dialogue.tell("on", limit_s=9)
    assert off_was_sent(instrument)
    await link.until_failed()
    with pytest.raises(GuardTripped, match="reads off"):
        await dialogue.ask_number("state")
    assert await dialogue.ask_number("state") == 0  # after a resynchronisation
    await link.aclose()


async def test_after_a_trip_nothing_passes_that_the_engine_sent_unknowing(
    instrument: Instrument,
) -> None:
    link = await guarded(instrument)
    await link.expect_traffic(0.05)
    assert off_was_sent(instrument)
    await link._send(DATA, b"OUTPut:STATe ON,9\n")  # as if it had just woken
    with pytest.raises(GuardTripped):
        await link.read(5)
    await link.expect_traffic(None)
    await link.write(b"OUTPut:STATe?\n")
    assert await link.read(5) == b"0\n"
    assert b"OUTPut:STATe ON,9" not in instrument.heard
    await link.aclose()


async def test_the_dialogue_itself_is_the_sign_of_life(instrument: Instrument) -> None:
    link = await guarded(instrument)
    dialogue = Dialogue(link, COMMANDS, RealClock())
    await link.expect_traffic(0.5)
    await dialogue.tell("on", limit_s=9)
    for _ in range(8):  # waits of 0.1 s, in which nothing comes
        with pytest.raises(LinkTimeout):
            await link.read(0.1)
    assert instrument.on
    await link.expect_traffic(None)
    await link.aclose()


async def test_the_watchdog_is_proved_with_the_output_off(instrument: Instrument) -> None:
    link = await guarded(instrument)
    assert await link.prove_watchdog() is not None
    assert b"OUTPut:STATe OFF" in instrument.heard
    await link.write(b"OUTPut:STATe?\n")
    assert await link.read(5) == b"0\n"
    await link.aclose()
    assert instrument.heard.count(b"OUTPut:STATe OFF") == 1  # no promise is left to be broken


async def test_the_watchdog_is_proved_with_the_output_on_and_keeps_its_promise(
    instrument: Instrument,
) -> None:
    link = await guarded(instrument)
    await link.expect_traffic(5.0)
    await link.write(b"OUTPut:STATe ON,9\n")
    took_s = await link.prove_watchdog()
    assert 0 < took_s < 9
    assert not instrument.on
    await link.aclose()  # the promise of before stands again, so an end has OFF sent
    assert instrument.heard.count(b"OUTPut:STATe OFF") == 2


async def test_a_proof_that_is_cut_short_leaves_the_promise_of_before(
    instrument: Instrument,
) -> None:
    link = await guarded(instrument)
    await link.expect_traffic(60.0)
    await link.write(b"OUTPut:STATe ON,9\n")
    with anyio.CancelScope() as scope:
        scope.cancel()
        await link.prove_watchdog()
    assert scope.cancelled_caught
    trips = 0
    for _ in range(2):  # one may be on its way; by the short promise each silence is one
        with pytest.raises(LinkError) as silence:
            await link.read(0.6)
        trips += isinstance(silence.value, GuardTripped)
        await link.heartbeat()
    assert trips < 2
    await link.aclose()
    assert not instrument.on


async def test_an_off_that_does_nothing_is_no_proof(
    instrument: Instrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    link = await guarded(instrument)
    instrument.off_does_nothing = True
    await link.expect_traffic(5.0)
    await link.write(b"OUTPut:STATe ON,9\n")
    with pytest.raises(GuardTripped, match="COULD NOT BE READ BACK AS OFF"):
        await link.prove_watchdog()
    instrument.off_does_nothing = False
    await link.aclose()
    assert not instrument.on


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
async def test_a_fork_of_the_engine_does_not_keep_its_guard_from_hearing_the_end(
    instrument: Instrument,
) -> None:
    link = await guarded(instrument)
    await link.expect_traffic(60.0)
    await link.write(b"OUTPut:STATe ON,90\n")
    child = multiprocessing.get_context("fork").Process(target=time.sleep, args=(60,))
    child.start()
    try:
        link._channel._socket.close()
        with anyio.fail_after(30):
            while b"OUTPut:STATe OFF" not in instrument.heard:
                await RealClock().sleep(0.02)
    finally:
        child.kill()
        child.join()
    link._channel.abandon()


async def test_told_to_stop_while_it_waits_without_end_it_ends(instrument: Instrument) -> None:
    link = await guarded(instrument)
    os.kill(link._channel.pid, signal.SIGTERM)
    with pytest.raises(LinkLost, match="guard has ended"):
        await link.read(60)
    assert instrument.heard == []
    await link.aclose()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
async def test_told_to_stop_it_releases_first(instrument: Instrument, number: int) -> None:
    link = await guarded(instrument)
    await link.expect_traffic(5.0)
    await link.write(b"OUTPut:STATe ON,9\n")
    os.kill(link._channel.pid, number)
    with pytest.raises(LinkLost, match="guard has ended"):
        await link.read(5)
    assert not instrument.on
    await link.aclose()


async def test_a_guard_that_dies_is_a_lost_line(instrument: Instrument) -> None:
    link = await guarded(instrument)
    os.kill(link._channel.pid, signal.SIGKILL)
    with pytest.raises(LinkLost, match="guard has ended"):
        await link.read(5)
    await link.aclose()


async def test_a_guard_that_dies_is_followed_by_another_that_keeps_the_promise(
    instrument: Instrument,
) -> None:
    link = await guarded(instrument)
    dialogue = Dialogue(link, COMMANDS, RealClock())
    await link.expect_traffic(5.0)
    await dialogue.tell("on", limit_s=9)
    dead = link._channel.pid
    os.kill(dead, signal.SIGKILL)
    with pytest.raises(LinkLost, match="guard has ended"):
        await dialogue.ask_number("state")
    with pytest.raises(LinkBusy, match=f"process {os.getpid()}"):
        await guarded(instrument)
    assert await dialogue.reconnect()
    assert link._channel.pid != dead
    await OffTeller(dialogue).tell("off")
    assert await dialogue.ask_number("state") == 0
    await dialogue.tell("on", limit_s=9)
    await link.aclose()
    assert not instrument.on
    link = await guarded(instrument)  # the lock is free again
    await link.aclose()


async def test_a_port_that_comes_back_as_another_device_is_found_by_its_name(
    instrument: Instrument, tmp_path: Path
) -> None:
    name = tmp_path / "analyzer"
    name.symlink_to(instrument.device)
    link = await open_guarded_serial(str(name), baud=115200, commands=COMMANDS)
    dialogue = Dialogue(link, COMMANDS, RealClock())
    await dialogue.resynchronise()
    replug(instrument)
    with pytest.raises(LinkLost):
        await dialogue.ask_number("state")
    name.unlink()
    async with anyio.create_task_group() as group:

        async def plug_in_later() -> None:
            await anyio.sleep(0.5)
            name.symlink_to(instrument.device)

        group.start_soon(plug_in_later)
        assert await dialogue.reconnect()
    assert await dialogue.ask_number("state") == 0
    with pytest.raises(LinkBusy, match=f"in use by process {os.getpid()}"):
        await guarded(instrument)
    await link.aclose()


async def test_a_line_that_closes_as_it_is_opened_is_looked_for_again(
    instrument: Instrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A device server may do that, for as long as it holds the connection before."""
    link = await guarded(instrument)
    await link.expect_traffic(5.0)
    os.kill(link._channel.pid, signal.SIGKILL)
    with pytest.raises(LinkLost):
        await link.read(5)
    promise, closed_at_once = link.expect_traffic, [LinkLost("closed"), LinkTimeout("closed")]

    async def expect_traffic(every_s: float | None) -> None:
        if closed_at_once:
            raise closed_at_once.pop()
        await promise(every_s)

    monkeypatch.setattr(link, "expect_traffic", expect_traffic)
    assert await link.reconnect()
    assert not closed_at_once
    await link.write(b"OUTPut:STATe OFF\n")
    assert off_was_sent(instrument)
    await link.aclose()


async def test_the_same_adapter_is_found_under_another_name(
    instrument: Instrument, monkeypatch: pytest.MonkeyPatch
) -> None:
    def plugged_in(number: str) -> None:
        port = SimpleNamespace(device=instrument.device, description="", serial_number=number)
        monkeypatch.setattr(ports, "comports", lambda: [port])

    plugged_in("A10")
    link = await guarded(instrument)
    replug(instrument)
    with pytest.raises(LinkLost):
        await link.read(5)
    plugged_in("A10")
    assert await link.reconnect()
    assert link.name == instrument.device
    await link.aclose()


async def test_a_port_that_stays_away_stays_lost(
    instrument: Instrument, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(guard_link, "RECONNECT_WITHIN_S", 0.3)
    name = tmp_path / "port"  # the number of a terminal may at once be another program's
    name.symlink_to(instrument.device)
    link = await open_guarded_serial(str(name), baud=115200, commands=COMMANDS)
    name.unlink()
    replug(instrument)
    with pytest.raises(LinkLost):
        await link.read(5)
    for _ in range(2):
        assert not await link.reconnect()
        with pytest.raises(LinkLost):
            await link.write(b"OUTPut:STATe OFF\n")
    await link.aclose()
    assert not await link.reconnect()


async def test_a_guard_that_dies_is_heard_of_while_nobody_speaks(instrument: Instrument) -> None:
    link = await guarded(instrument)
    os.kill(link._channel.pid, signal.SIGKILL)
    with anyio.fail_after(60):
        await link.until_failed()
    await link.aclose()


async def test_it_lives_in_a_session_of_its_own(instrument: Instrument) -> None:
    link = await guarded(instrument)
    assert os.getsid(link._channel.pid) == link._channel.pid
    await link.aclose()


async def test_a_port_that_goes_is_a_lost_line(instrument: Instrument) -> None:
    link = await guarded(instrument)
    instrument.stop = True
    instrument.join()
    os.close(instrument.master)
    with pytest.raises(LinkLost):
        await link.read(5)
    await link.aclose()
    instrument.master = os.open(os.devnull, os.O_RDONLY)


def test_frames_cut_anywhere() -> None:
    stream = pack(DATA, 0, b"abc") + pack(WATCH, 1) + pack(DATA, 2, bytes(300))
    frames = Unpacker()
    found = [frame for byte in stream for frame in frames.feed(bytes([byte]))]
    assert found == [(DATA, 0, b"abc"), (WATCH, 1, b""), (DATA, 2, bytes(300))]


async def test_cancelled_while_opening_leaves_no_guard(instrument: Instrument) -> None:
    with anyio.move_on_after(0.001):
        await guarded(instrument)
    link = await guarded(instrument)  # the lock is free again
    await link.aclose()


class Traffic:
    """Stands for `select` and the time: lets one message come at the first wait."""

    def __init__(self, engine: socket.socket) -> None:
        self.engine, self.now_s, self.waits_s = engine, 100.0, []

    def monotonic(self) -> float:
        return self.now_s

    def select(self, _read: list, _write: list, _bad: list, wait_s: float | None) -> tuple:
        self.waits_s.append(wait_s)
        self.now_s += max(wait_s or 0.0, 0.0001)
        return ([self.engine] if len(self.waits_s) == 1 else [], [], [])


class SilentPort:
    """A port where nothing comes."""

    def fileno(self) -> int | None:
        return 0

    def write(self, data: bytes) -> None:
        pass


def test_an_engine_that_takes_no_frame_is_gone(quick: None) -> None:
    """Would notice a guard that warns nobody of RF where no other program is left to do it."""
    engine, far = socket.socketpair()
    with engine:
        far.close()
        guard = process.Guard(engine, PortRelease(Analyzer(), ORDERS))
        guard.run()
    assert guard.deserted


@pytest.mark.parametrize(
    ("state", "engine_says", "warned"),
    [(b"1\n", b"", 1), (b"0\n", b"", 0), (b"1\n", pack(HEARTBEAT, 0), 0)],
    ids=["hangs with RF on", "hangs with RF off", "lives"],
)
def test_where_the_engine_hangs_with_rf_on_its_guard_warns(
    quick: None, monkeypatch: pytest.MonkeyPatch, state: bytes, engine_says: bytes, warned: int
) -> None:
    """Would notice RF that stays on behind a screen that stands still, with nobody to say so."""
    said: list[str] = []
    monkeypatch.setattr(process, "warn", said.append)
    monkeypatch.setattr(process, "_ANSWERS_WITHIN_S", 0.05)
    ours, far = socket.socketpair()
    before = set(threading.enumerate())
    with ours, far:
        far.sendall(engine_says)
        process.Guard(ours, PortRelease(Analyzer(*[state] * 99), ORDERS))._trip()
    for telling in set(threading.enumerate()) - before:
        telling.join()
    assert said == [process.HANGS_WARNING] * warned


def test_both_warnings_are_as_wide() -> None:
    widths = [len(one) for one in process.HANGS_WARNING.splitlines()]
    assert widths == [len(one) for one in process.RF_WARNING.splitlines()]
    assert "ohmwright hangs, and its guard" in process.HANGS_WARNING


@pytest.mark.parametrize("off", [True, False])
def test_remote_control_is_left_only_where_the_output_reads_off(quick: None, off: bool) -> None:
    """Would notice a guard that ends as if RF were off, without a warning, where it is on."""
    engine, far = socket.socketpair()
    port = Analyzer(*[b"0\n" if off else b"1\n"] * 99)
    with engine:
        far.sendall(pack(WATCH, 0, b"5.0"))
        far.shutdown(socket.SHUT_WR)
        guard = process.Guard(engine, PortRelease(port, replace(ORDERS, closing=(b"LOCAL\n",))))
        assert guard.run() is off
        far.close()
    assert (b"LOCAL\n" in port.written) is off


def test_frames_out_of_sequence_are_not_obeyed_and_end_in_a_release(quick: None) -> None:
    engine, far = socket.socketpair()
    with engine, far:
        port = Analyzer(b"0\n", b"0\n")
        guard = process.Guard(engine, PortRelease(port, ORDERS))
        far.sendall(pack(WATCH, 0, b"5.0") + pack(DATA, 2, b"ON\n") + pack(DATA, 3, b"ON\n"))
        far.shutdown(socket.SHUT_WR)
        assert guard.run()
    assert b"ON\n" not in port.written
    assert port.written[0] == ORDERS.off


def test_what_waited_while_it_stood_still_came_too_late(
    quick: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine, far = socket.socketpair()
    with engine, far:
        port, now_s = Analyzer(b"0\n", b"0\n"), [100.0]
        monkeypatch.setattr(process, "elapsed_s", lambda: now_s[0])
        guard = process.Guard(engine, PortRelease(port, ORDERS))
        far.sendall(pack(WATCH, 0, b"5.0"))
        guard._relay_once()
        now_s[0] += 4.9
        far.sendall(pack(HEARTBEAT, 1))
        guard._relay_once()
        assert port.written == []
        now_s[0] += 5.1  # stopped, or asleep with the whole machine; the engine, too
        far.sendall(pack(DATA, 2, b"ON\n"))
        monkeypatch.setattr(guard.release, "switch_off", lambda: port.write(ORDERS.off))
        guard._relay_once()
    assert port.written == [ORDERS.off]


@pytest.mark.parametrize(("promised", "then_s"), [(b"", None), (b"9", process.POLL_S)])
def test_it_stays_awake_for_a_burst_then_sleeps_and_looks_up_only_while_it_watches(
    monkeypatch: pytest.MonkeyPatch, promised: bytes, then_s: float | None
) -> None:
    engine, far = socket.socketpair()
    with engine, far:
        traffic = Traffic(engine)
        monkeypatch.setattr(process, "select", traffic)
        monkeypatch.setattr(process, "elapsed_s", traffic.monotonic)
        guard = process.Guard(engine, PortRelease(SilentPort(), ReleaseOrders(b"", b"")))
        far.send(pack(WATCH, 0, promised))
        for _ in range(8):
            guard._relay_once()
    assert traffic.waits_s[0] is None
    assert traffic.waits_s[1] == 0
    assert traffic.waits_s[-1] == then_s
