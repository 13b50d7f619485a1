"""A console that lacks a character gets a plainer one, never a crash."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

BENCH = shipped("benches", "demo.toml")


def ended(*words: str, encoding: str) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, "-m", "ohmwright", *words]
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0", "COLUMNS": "200"}
    return subprocess.run(command, capture_output=True, check=False, env=environment)


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    path = tmp_path / "bench.toml"
    text = BENCH.read_text(encoding="utf-8").replace('id = "', 'id = "Größe 電 ')
    path.write_text(text, encoding="utf-8")
    return path


def test_a_whole_run_on_any_console(procedure: Path, bench: Path, tmp_path: Path) -> None:
    here = ("--records", str(tmp_path / "r"))
    run = ended("verify", str(procedure), "--bench", str(bench), *here, encoding="ascii")
    assert run.returncode == 1, run.stderr.decode(errors="replace")
    _says(run, "ascii", "Gro\\xdfe \\u96fb", "+/-")
    for encoding, unit in (("cp1252", "Größe \\u96fb"), ("utf-8", "Größe 電")):
        shown = ended("record", "show", "last", *here, encoding=encoding)
        assert shown.returncode == 1  # that of its verdict
        _says(shown, encoding, unit, "±")


def _says(done: subprocess.CompletedProcess[bytes], encoding: str, unit: str, sign: str) -> None:
    assert b"Traceback" not in done.stderr
    said = done.stdout.decode(encoding)
    assert unit in said
    assert sign in said


def test_a_file_name_that_is_no_text(tmp_path: Path) -> None:
    done = ended("lint", os.fsdecode(b"caf\xe9.toml"), encoding="utf-8")
    assert done.returncode == 2
    assert b"caf\\xe9.toml: this cannot be read as text" in done.stderr
