"""The program as it is installed: on what machine, for which user, and what it takes to start."""

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped
from scripts import matrix

from .modes import obeyed

SETUP = Path(matrix.__file__).with_name("setup.py")


def printed(*words: str, **environment: str) -> str:
    done = subprocess.run(
        [sys.executable, *words],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, **environment},
    )
    return done.stdout


def test_a_shell_completes_commands() -> None:
    asked = {"_OHMWRIGHT_COMPLETE": "complete_bash", "COMP_WORDS": "ohmwright cal"}
    call = "import sys; sys.argv[0] = 'ohmwright'; from ohmwright.cli.main import main; main()"
    assert printed("-c", call, **asked, COMP_CWORD="1").split() == ["calibrate"]


def test_records_and_papers_wait_for_no_import_that_only_others_need() -> None:
    heavy = ("scipy", "matplotlib", "typst", "fontTools", "segno", "pyvisa", "alembic")
    modules = ("record", "certificate", "lint", "verify", "sweep")
    names = ", ".join(f"ohmwright.cli.{module}_command" for module in modules)
    look = f"import sys, {names}; print([m for m in {heavy} if m in sys.modules])"
    assert printed("-c", look).strip() == "[]"


def test_a_bench_is_served_over_tcp_where_the_system_has_no_terminals_of_posix() -> None:
    without = "import sys; sys.modules.update(dict.fromkeys(('tty', 'pty')))"
    printed("-c", f"{without}; import ohmwright.cli.simulate_command")


@pytest.mark.skipif(sys.platform != "linux", reason="file modes of Linux")
def test_a_user_whose_home_is_not_his_is_told_what_to_set(
    ohmwright: Callable, procedure: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    home = tmp_path / "home"
    home.mkdir(mode=0o500)
    monkeypatch.setenv("XDG_CONFIG_HOME", str(home / "config"))
    bench = shipped("benches", "demo.toml")
    with obeyed():
        outcome = ohmwright("verify", procedure, "--bench", bench, "--records", tmp_path / "r")
    assert outcome.code == 6
    assert "XDG_CONFIG_HOME" in outcome.err


@pytest.mark.skipif(sys.platform == "win32", reason="needs a program without a compiler")
def test_a_python_that_is_too_old_is_refused_before_anything_is_made(tmp_path: Path) -> None:
    scripts, old = tmp_path / "with space é" / "scripts", tmp_path / "old"
    scripts.mkdir(parents=True)
    (scripts / "setup.py").write_bytes(SETUP.read_bytes())
    old.write_text("#!/bin/sh\nexit 1\n")
    old.chmod(0o755)
    command = [sys.executable, str(scripts / "setup.py")]
    environment = {**os.environ, "PYTHON": str(old)}
    done = subprocess.run(command, capture_output=True, text=True, check=False, env=environment)
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)
    assert "needs Python 3.11 or newer" in done.stderr
    assert not (scripts.parent / ".venv").exists()


def test_the_matrix_takes_only_a_python_that_runs(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    here = f"{sys.version_info.major}.{sys.version_info.minor}"
    assert next(matrix._pythons(here)) == sys.executable
    assert list(matrix._pythons("3.99")) == []
    assert here in {row.python for row in matrix.ROWS}
