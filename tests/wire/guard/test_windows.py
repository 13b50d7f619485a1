"""The Windows way of handing the socket over, as far as it can be seen elsewhere."""

import os
import select
import socket
import subprocess
import sys
from typing import Any

import pytest

from ohmwright.wire.guard import launcher, ports, process


class Shareable:
    """A socket of Windows, which a process is given by its number."""

    def share(self, pid: int) -> bytes:
        return f"for {pid}".encode()


def test_the_engine_shares_its_socket_with_the_guard(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "name", "nt")
    ours: Any = Shareable()
    assert launcher._handed_over(ours, 77) == {"shared": b"for 77".hex()}


def test_the_guard_takes_the_shared_socket(monkeypatch: pytest.MonkeyPatch) -> None:
    taken: list[bytes] = []
    monkeypatch.setattr(socket, "fromshare", taken.append, raising=False)
    process._engine_socket({"shared": b"for 77".hex()})
    assert taken == [b"for 77"]


def test_the_guard_is_out_of_reach_of_the_console_and_of_its_end(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "platform", "win32")
    monkeypatch.setattr(subprocess, "CREATE_NEW_PROCESS_GROUP", 512, raising=False)
    monkeypatch.setattr(subprocess, "DETACHED_PROCESS", 8, raising=False)
    nobody: Any = None
    assert launcher._own_session(nobody, nobody) == {"creationflags": 520}


def test_the_process_that_gets_the_socket_is_the_one_that_was_started(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Not the python.exe of a virtual environment, which starts another."""
    assert launcher._interpreter() == sys.executable
    with monkeypatch.context() as windows:
        windows.setattr(os, "name", "nt")
        windows.setattr(sys, "_base_executable", "base", raising=False)
        started, environment = launcher._interpreter(), launcher._environment()
    assert started == "base"
    assert environment["__PYVENV_LAUNCHER__"] == sys.executable


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_serial_port_that_select_cannot_wait_on_wakes_the_guard_all_the_same() -> None:
    ours, its = os.openpty()
    port = ports.ThreadedSerialPort(os.ttyname(its), 115200)
    assert port.read() == b""
    os.write(ours, b"812,MA,7\n")
    heard = b""
    while b"\n" not in heard:
        assert select.select([port.fileno()], [], [], 60)[0]
        heard += port.read()
    assert heard == b"812,MA,7\n"
    port.write(b"OFF")
    assert os.read(ours, 3) == b"OFF"
    os.close(ours)
    os.close(its)
    assert select.select([port.fileno()], [], [], 60)[0]
    with pytest.raises(ConnectionError):
        port.read()
    port._arrived.close()
    port._port.close()
