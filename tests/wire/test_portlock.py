"""A port has one holder on a machine, whom the refusal names, and whose death frees it."""

import multiprocessing
import os
import signal
import stat
import subprocess
import sys
import time
from collections.abc import Iterator
from multiprocessing.synchronize import Event
from pathlib import Path

import pytest

from ohmwright.model.errors import LinkBusy
from ohmwright.wire.portlock import PortLock, device_lock

HOLDER = """
import sys
from ohmwright.wire.portlock import PortLock
lock = PortLock(sys.argv[1])
print("held", flush=True)
sys.stdin.read()
"""


@pytest.fixture
def port(tmp_path: Path) -> str:
    """A name that no other test uses: locks are the machine's."""
    return f"port {tmp_path}"


@pytest.fixture
def holder(port: str, tmp_path: Path) -> Iterator[subprocess.Popen[bytes]]:
    """Another program, whose user has other folders."""
    arguments = [sys.executable, "-c", HOLDER, port]
    folders = {"HOME": str(tmp_path / "home"), "XDG_STATE_HOME": str(tmp_path / "state")}
    with subprocess.Popen(
        arguments, stdin=subprocess.PIPE, stdout=subprocess.PIPE, env={**os.environ, **folders}
    ) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        yield process
        process.kill()


def test_the_refusal_names_the_holder(holder: subprocess.Popen[bytes], port: str) -> None:
    with pytest.raises(LinkBusy, match=rf"is in use by process {holder.pid} on .+ since 20"):
        PortLock(port)


def test_a_dead_holder_holds_nothing(holder: subprocess.Popen[bytes], port: str) -> None:
    holder.send_signal(signal.SIGKILL)
    holder.wait()
    lock = PortLock(port)
    with pytest.raises(LinkBusy, match=f"process {os.getpid()} on"):
        PortLock(port)
    lock.release()
    lock.release()
    PortLock(port).release()


def test_ports_are_apart(port: str) -> None:
    first, second = PortLock(port), PortLock(port + "o" * 4000)
    first.release()
    second.release()


def test_of_several_keys_each_is_locked_and_all_or_none(port: str) -> None:
    lock = PortLock("a name", (port, f"{port} too"))
    assert len(lock.filenos()) == 2
    with pytest.raises(LinkBusy, match="another name is in use"):
        PortLock("another name", (f"a first {port}", f"{port} too"))
    PortLock(f"a first {port}").release()
    lock.release()
    PortLock(f"{port} too").release()


def test_another_user_may_lock_the_same_file(port: str) -> None:
    lock = PortLock(port)
    status = os.fstat(lock.filenos()[0])
    assert stat.S_IMODE(status.st_mode) == 0o666
    lock.release()


def test_a_device_has_one_lock_under_all_its_names(tmp_path: Path) -> None:
    (tmp_path / "device").touch()
    (tmp_path / "by-id").symlink_to(tmp_path / "device")
    lock = device_lock(str(tmp_path / "device"))
    with pytest.raises(LinkBusy):
        device_lock(str(tmp_path / "by-id"))
    lock.release()


def _tell_and_stay(runs: Event) -> None:
    runs.set()
    time.sleep(60)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")
def test_a_fork_holds_nothing(port: str) -> None:
    """A pool of workers held the port of a program that was killed, by the number of that."""
    lock, forks = PortLock(port), multiprocessing.get_context("fork")
    runs = forks.Event()
    child = forks.Process(target=_tell_and_stay, args=(runs,))
    child.start()
    try:
        assert runs.wait(60)  # a fork that has just begun has yet to close its copies
        lock.close()
        PortLock(port).release()
    finally:
        child.kill()
        child.join()
