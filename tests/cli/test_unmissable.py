"""What a person must read when RF may still be on: whole on any terminal, coloured or not."""

import fcntl
import os
import pty
import re
import struct
import subprocess
import sys
import termios
from collections.abc import Callable
from datetime import UTC, datetime
from io import TextIOWrapper
from pathlib import Path

import pytest

from ohmwright.cli.error_report import report_error
from ohmwright.model import rf_state
from ohmwright.model.errors import OffNotProved, ReleaseNotConfirmed
from ohmwright.wire.guard.process import RF_WARNING

TELLING = """
from ohmwright.cli.error_report import print_error
from ohmwright.model.errors import ReleaseNotConfirmed
text = "RF MAY STILL BE ON: " + 9 * "so it is, "
print_error(ReleaseNotConfirmed(text, "So.", "Switch it off now."))
"""


def on_a_terminal(columns: int) -> str:
    """What comes to a terminal of so many columns."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    streams = {"stdin": theirs, "stdout": theirs, "stderr": theirs}
    # said in full: readline puts a COLUMNS into what else a child inherits, unknown to os.environ
    environment = dict(os.environ)
    subprocess.run([sys.executable, "-c", TELLING], env=environment, check=True, **streams)
    shown = os.read(ours, 65536)
    os.close(ours)
    os.close(theirs)
    return shown.decode()


@pytest.mark.parametrize("columns", [80, 60])
@pytest.mark.parametrize("coloured", [True, False])
def test_the_frame_is_whole(columns: int, coloured: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.delenv("NO_COLOR", raising=False)
    if not coloured:
        monkeypatch.setenv("NO_COLOR", "1")
    shown = on_a_terminal(columns)
    rung, _, framed = shown.partition("\a")
    assert rung == ""
    assert ("\x1b[1;37;41m" in framed) == coloured
    lines = re.sub(r"\x1b\[[0-9;]*m", "", framed).splitlines()
    assert {len(line) for line in lines} == {columns}
    assert (lines[0][0], lines[0][-1], lines[-1][0], lines[-1][-1]) == ("┏", "┓", "┗", "┛")
    assert all(line[0] == line[-1] == "┃" for line in lines[1:-1])
    said = " ".join(" ".join(line[1:-1] for line in lines[1:-1]).split())
    assert said == f"RF MAY STILL BE ON: {9 * 'so it is, '}So. Switch it off now."


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device that is always full")
def test_the_code_is_right_where_nobody_can_be_told(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    records = ("--records", tmp_path)
    with Path("/dev/full").open("wb", buffering=0) as full:
        monkeypatch.setattr(sys, "stderr", TextIOWrapper(full, write_through=True))
        outcome = ohmwright("demo", *records, "--fault", "unplug:message:ever:90")
    assert outcome.code == 5


def test_the_guards_own_frame() -> None:
    lines = RF_WARNING.strip().splitlines()
    assert {len(line) for line in lines} == {58}


def test_rf_that_may_be_on_comes_before_an_off_that_was_not_proved(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It read off when that was found, and came back since: the error's "reads off now" is old."""
    rf_state.forget()
    rf_state.RfTracker().set_on()
    late = OffNotProved("OFF MAY NOT SWITCH OFF: so.", "It reads off now.", "Do.")
    assert report_error(late) == 5
    said = capsys.readouterr().err
    assert said.index("RF MAY STILL BE ON") < said.index("OFF MAY NOT SWITCH OFF")
    assert "It reads off now" not in said


def test_nothing_soothes_after_the_warning(capsys: pytest.CaptureFixture[str]) -> None:
    """RF was read as off once, and came back by itself: the last word is the warning's."""
    rf_state.forget()
    rf = rf_state.RfTracker()
    rf.set_on()
    rf.set_off(datetime(2026, 1, 5, tzinfo=UTC))
    assert report_error(ReleaseNotConfirmed("RF MAY BE ON ELSEWHERE: so.", "So.", "Do.")) == 5
    said = capsys.readouterr().err
    assert "RF MAY BE ON ELSEWHERE" in said
    assert "read back as off" not in said
