"""A bench in another process, over pseudo-terminals and TCP."""

import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import Any

import pytest
import serial

from .conftest import Make

SCRIPT = Path(__file__).with_name("serve_bench.py")
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals")


@contextmanager
def served(*arguments: str) -> Iterator[list[str]]:
    """The three addresses: analyzer, generator, control."""
    command = [sys.executable, str(SCRIPT), *arguments]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        yield [process.stdout.readline().strip() for _ in range(3)]
    finally:
        process.send_signal(signal.SIGINT if sys.platform != "win32" else signal.SIGTERM)
        process.wait(5)
        assert process.stdout is not None
        process.stdout.close()


@contextmanager
def on_tcp(address: str) -> Iterator[Callable[[str], str]]:
    host, _, port = address.rpartition(":")
    with (
        socket.create_connection((host, int(port)), timeout=60) as line,
        line.makefile(encoding="latin-1") as lines,
    ):

        def ask(message: str) -> str:
            line.sendall(message.encode() + b"\n")
            return lines.readline().strip()

        yield ask


@contextmanager
def on_serial(address: str) -> Iterator[Callable[[str], str]]:
    with serial.Serial(address, timeout=60, exclusive=True) as line:

        def ask(message: str) -> str:
            line.write(message.encode() + b"\n")
            return str(line.readline().decode("latin-1").strip())

        yield ask


LINES = [pytest.param("pty", on_serial, marks=needs_pty), pytest.param("tcp", on_tcp)]


@pytest.mark.parametrize(("kind", "opened"), LINES)
def test_stepped_bench_reads_as_in_process(kind: str, opened: Any, make: Make) -> None:
    local = make(seed=5)
    with served(kind, "stepped") as (analyzer, generator, control), ExitStack() as stack:
        ask, tell, step = (
            stack.enter_context(opened(each)) for each in (analyzer, generator, control)
        )
        assert tell("SOUR:POW 200;POW?") == local.ask_generator("SOUR:POW 200;POW?")
        on = "INP:IMP 500;:OUTP:STAT ON,8;STAT?"
        assert ask(on) == local.ask(on) == "1"
        for _ in range(40):
            assert step("SIM:TIME:STEP 0.25") == "1"
            local.clock.advance(0.25)
            assert ask("FETC:CURR?") == local.ask("FETC:CURR?")
        assert step("SIM:TIME?") == "10.0"
        assert step("SIM:TRUT:RF?;RF:INT?") == "0;0.0,8.0"


@pytest.mark.parametrize(("kind", "opened"), LINES)
def test_clients_vanish_and_come_back(kind: str, opened: Any) -> None:
    with served(kind, "stepped") as (analyzer, _, control):
        with opened(analyzer) as ask:
            assert ask("OUTP:STAT ON,30;STAT?\nFETC:WAV?\nFETC:WAV?\nOUTP:ST") == "1"
            # the waveforms are never read, the last line never ended
        with opened(control) as step:
            step("SIM:TIME:STEP 1")
        with opened(analyzer) as ask:
            # on a serial line what the last client left unread may come first
            replies = [ask(f"*ESE {n};*ESE?") for n in (7, 8, 9)]
            while replies[-1] != "9":
                replies.append(ask("*ESE?"))
                assert len(replies) < 1000


@pytest.mark.parametrize(("kind", "opened"), LINES)
def test_real_time_goes_by_itself(kind: str, opened: Any) -> None:
    with served(kind, "real") as (analyzer, _, control), ExitStack() as stack:
        ask, step = (stack.enter_context(opened(each)) for each in (analyzer, control))
        assert ask("OUTP:STAT ON,0.2;STAT?") == "1"
        time.sleep(0.3)
        assert ask("OUTP:STAT?") == "0"
        assert ask("FETC:CURR?").startswith("+")
        step("SIM:TIME:STEP 1;:SIM:TIME?")
        assert step("SYST:ERR?") == '-221,"Settings conflict"'


@needs_pty
def test_linked_names(tmp_path: Path) -> None:
    links = tmp_path / "links"
    for _ in range(2):  # a second run finds no old link in its way
        with served("pty", "stepped", "", str(links)) as addresses:
            assert addresses == [str(links / n) for n in ("analyzer", "generator", "control")]
            with on_serial(addresses[1]) as ask:
                assert ask("*IDN?").startswith("Tessenhove")
    assert not list(links.iterdir())


def test_unplugged_from_tcp_is_a_hang_up() -> None:
    with served("tcp", "stepped", "unplug:message:once:2") as (analyzer, *_):
        for last in ("", "0"):
            with on_tcp(analyzer) as ask:
                assert ask("OUTP:STAT?") == "0"
                assert ask("OUTP:STAT?") == last


@needs_pty
def test_unplugged_from_a_pty_it_comes_back_as_another_device(tmp_path: Path) -> None:
    link = tmp_path / "analyzer"
    with served("pty", "stepped", "unplug:message:once:2", str(tmp_path)):
        before = link.resolve()
        with on_serial(str(link)) as ask:
            assert ask("OUTP:STAT?") == "0"
            with pytest.raises(serial.SerialException):
                ask("OUTP:STAT?")
        assert not before.exists()
        assert link.resolve() != before
        with on_serial(str(link)) as ask:
            assert [ask("OUTP:STAT?"), ask("OUTP:STAT?")] == ["0", "0"]


def test_tcp_is_loopback_only() -> None:
    with served("tcp", "stepped") as addresses:
        assert {address.rpartition(":")[0] for address in addresses} == {"127.0.0.1"}
