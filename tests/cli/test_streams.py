"""What becomes of a command whose output nobody takes, or which has no room for it."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest

from ohmwright.cli.open_records import open_existing_records
from ohmwright.model.errors import OhmwrightError
from ohmwright.model.shipped import shipped

from .conftest import simulated

_COMMAND = [sys.executable, "-c", "from ohmwright.cli.main import main; main()"]


def _ended(*words: str, out: int, err: int = subprocess.PIPE) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*_COMMAND, *words], stdout=out, stderr=err, text=True, check=False)


def _without_reader() -> int:
    read, write = os.pipe()
    os.close(read)
    return write


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pipe that breaks")
def test_a_run_that_nobody_reads_ends_with_its_own_code_and_is_on_record(
    tmp_path: Path, procedure: Path
) -> None:
    place, bench = str(tmp_path / "records.sqlite"), str(shipped("benches", "demo.toml"))
    words = ("verify", str(procedure), "--bench", bench, "--records", place, "--unattended")
    unseen = _ended(*words, out=_without_reader(), err=_without_reader())
    with open_existing_records(place) as store:
        (run,) = store.run_ids()
        last = store.events(run)[-1]
    assert (last.kind, last.verdict) == ("run_finished", "fail")
    assert unseen.returncode == 1


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_output_without_room_is_an_error_and_no_traceback() -> None:
    full = os.open("/dev/full", os.O_WRONLY)
    ended = _ended("lint", str(shipped("procedures", "demo-monopolar.toml")), out=full)
    os.close(full)
    assert ended.returncode == 2
    assert ended.stderr.startswith("Standard output cannot be written: No space left on device.")
    assert "Traceback" not in ended.stderr


def _nobody_reads() -> int:
    """A pipe that is full and stays so."""
    read, write = os.pipe()
    os.set_blocking(write, False)
    with suppress(BlockingIOError):
        while True:
            os.write(write, b"\n" * 4096)
    os.set_blocking(write, True)
    _OPEN.append(read)
    return write


def _held_terminal() -> int:
    """A terminal whose person has pressed Ctrl-S."""
    ours, theirs = pty.openpty()
    termios.tcflow(theirs, termios.TCOOFF)
    _OPEN.append(ours)
    return theirs


_OPEN: list[int] = []
"""What has to stay open for as long as a child runs."""


def _begun(records: Path, child: subprocess.Popen[bytes]) -> None:
    """Return when the child has an activation on record."""
    for _ in range(1200):
        assert child.poll() is None
        with suppress(OhmwrightError), open_existing_records(str(records)) as store:
            for run in store.run_ids():
                if any(event.kind == "activation_opened" for event in store.events(run)):
                    return
        time.sleep(0.1)
    raise AssertionError("nothing was begun")


@pytest.mark.skipif(sys.platform == "win32", reason="needs a terminal that can be held")
@pytest.mark.parametrize("stuck", [_nobody_reads, _held_terminal])
def test_a_stop_is_carried_out_where_nobody_takes_the_output(
    tmp_path: Path, procedure: Path, stuck: Callable[[], int]
) -> None:
    out, records = stuck(), tmp_path / "records.sqlite"
    with simulated(tmp_path, "--tcp") as bench:
        words = ("verify", procedure, "--bench", bench, "--records", records, "--unattended")
        child = subprocess.Popen([*_COMMAND, *map(str, words)], stdout=out, stderr=out)
        try:
            _begun(records, child)
            child.terminate()
            assert child.wait(timeout=60) == 4
        finally:
            child.kill()
            os.close(out)
    with open_existing_records(str(records)) as store:
        last = store.events(store.run_ids()[0])[-1]
    assert (last.kind, last.error, last.rf_state) == ("fault", "Stopped", "off")


@pytest.mark.skipif(sys.platform == "win32", reason="has no such signal")
def test_a_signal_that_was_ignored_at_the_start_stays_ignored(
    tmp_path: Path, procedure: Path
) -> None:
    bench, records = shipped("benches", "demo.toml"), tmp_path / "records.sqlite"
    words = ("verify", procedure, "--bench", bench, "--records", records, "--unattended")
    child = subprocess.Popen(
        [*_COMMAND, *map(str, words)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        preexec_fn=lambda: signal.signal(signal.SIGHUP, signal.SIG_IGN),
    )
    while child.poll() is None:
        child.send_signal(signal.SIGHUP)
        time.sleep(0.02)
    assert child.returncode == 1


def test_all_that_was_asked_for_reaches_a_reader_who_takes_his_time() -> None:
    lines = 20_000
    show = f"import sys; sys.stdout.write('\\n'.join(map(str, range({lines}))))"
    code = (
        "from ohmwright.cli.streams import install_nonblocking_streams, finish_output\n"
        f"install_nonblocking_streams(); {show}; finish_output()"
    )
    child = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True)
    time.sleep(1.0)
    assert child.communicate()[0].split() == [str(number) for number in range(lines)]


_WITHOUT_THREADS = """
import sys, threading
def refused(thread): raise RuntimeError("can't start new thread")
threading.Thread.start = refused
from ohmwright.cli.main import main
sys.argv = ["ohmwright", "guide", "safety"]
main()
"""


def test_a_system_that_gives_no_thread_holds_no_exit_up() -> None:
    """A limit on processes refuses threads; the command waited for its writer without end."""
    command = [sys.executable, "-c", _WITHOUT_THREADS]
    ended = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
    assert ended.returncode == 0
    assert "CAUTION" in ended.stdout
