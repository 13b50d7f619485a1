"""The command `page`: what it refuses before it serves, and that a signal ends it well."""

import signal
import socket
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.model.shipped import shipped

DEMO = shipped("benches", "demo.toml")


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ((), "No bench is named"),
        (("--bench", "missing.toml"), "no such file"),
        (("--demo", "--host", "0.0.0.0"), "every network"),
        (("--demo", "--host", "::"), "every network"),
        (("--demo", "--host", "nowhere.invalid"), "cannot be served"),
    ],
)
def test_refused_before_anything_is_served(
    ohmwright: Callable, words: tuple[str, ...], said: str
) -> None:
    outcome = ohmwright("page", *words)
    assert outcome.code == 2
    assert said in outcome.err


def test_a_port_that_is_taken_is_told(ohmwright: Callable) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        outcome = ohmwright("page", "--demo", "--port", taken.getsockname()[1])
    assert outcome.code == 2
    assert "--port" in outcome.err


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_a_signal_ends_it(tmp_path: Path) -> None:
    call = [sys.executable, "-c", "from ohmwright.cli.main import main; main()"]
    words = ["page", "--bench", str(DEMO), "--port", "0", "--records", str(tmp_path)]
    server = subprocess.Popen(
        [*call, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    )
    assert server.stdout is not None
    line = server.stdout.readline()
    assert line.startswith("Open in one browser: http://127.0.0.1:")
    assert "/#token=" in line
    server.send_signal(signal.SIGINT)
    _, err = server.communicate(timeout=60)
    assert server.returncode == 0, err
    assert "CAUTION" in err
