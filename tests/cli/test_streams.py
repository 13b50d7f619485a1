"""What becomes of a command whose output nobody takes, or which has no room for it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

_COMMAND = [sys.executable, "-c", "from ohmwright.cli.main import main; main()"]


def _ended(*words: str, out: int, err: int = subprocess.PIPE) -> subprocess.CompletedProcess[str]:
    return subprocess.run([*_COMMAND, *words], stdout=out, stderr=err, text=True, check=False)


def _without_reader() -> int:
    read, write = os.pipe()
    os.close(read)
    return write


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pipe that breaks")
def test_a_run_that_nobody_reads_ends_with_its_own_code_and_is_on_record(tmp_path: Path) -> None:
    place = str(tmp_path / "records.sqlite")
    words = ("demo", "--seed", "3", "--records", place)
    seen = _ended(*words, out=subprocess.PIPE)
    unseen = _ended(*words, out=_without_reader(), err=_without_reader())
    assert (seen.returncode, unseen.returncode) == (0, 0)
    listed = _ended("record", "list", "--json", "--records", place, out=subprocess.PIPE)
    assert listed.stdout.count('"verdict": "pass"') == 2


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs a device that is always full")
def test_output_without_room_is_an_error_and_no_traceback() -> None:
    full = os.open("/dev/full", os.O_WRONLY)
    ended = _ended("lint", str(shipped("procedures", "demo-monopolar.toml")), out=full)
    os.close(full)
    assert ended.returncode == 2
    assert ended.stderr.startswith("Standard output cannot be written: No space left on device.")
    assert "Traceback" not in ended.stderr
