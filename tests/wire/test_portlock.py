"""A port has one holder, whom the refusal names, and whose death frees it."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from ohmwright.model.errors import LinkBusy
from ohmwright.wire.portlock import PortLock, device_lock

HOLDER = """
import sys
from ohmwright.wire.portlock import PortLock
lock = PortLock("port")
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture(autouse=True)
def own_locks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))


@pytest.fixture
def holder() -> Iterator[subprocess.Popen[bytes]]:
    arguments = [sys.executable, "-c", HOLDER]
    with subprocess.Popen(arguments, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        yield process
        process.kill()


def test_the_refusal_names_the_holder(holder: subprocess.Popen[bytes]) -> None:
    with pytest.raises(LinkBusy, match=rf"port is in use by process {holder.pid} on .+ since 20"):
        PortLock("port")


def test_a_dead_holder_holds_nothing(holder: subprocess.Popen[bytes]) -> None:
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    lock = PortLock("port")
    with pytest.raises(LinkBusy, match=f"process {os.getpid()} on"):
        PortLock("port")
    lock.release()
    lock.release()
    PortLock("port").release()


def test_ports_are_apart() -> None:
    first, second = PortLock("one"), PortLock("o" * 4000)
    first.release()
    second.release()


def test_a_device_has_one_lock_under_all_its_names(tmp_path: Path) -> None:
    (tmp_path / "device").touch()
    (tmp_path / "by-id").symlink_to(tmp_path / "device")
    lock = device_lock(str(tmp_path / "device"))
    with pytest.raises(LinkBusy):
        device_lock(str(tmp_path / "by-id"))
    lock.release()
