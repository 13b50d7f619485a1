"""A bench at which a person must stand by says so, and is not worked where nobody can answer."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

from ohmwright.cli import keyboard, standing_by
from ohmwright.cli.console import err
from ohmwright.cli.terminal_operator import PlainDisplay, TerminalOperator
from ohmwright.instruments.absent_operator import AbsentOperator
from ohmwright.instruments.bench import Bench
from ohmwright.instruments.operator import Operator
from ohmwright.model.errors import OutOfCapability
from ohmwright.model.protections import Protections

from .conftest import simulated

NOT_ON_WINDOWS = pytest.mark.skipif(sys.platform == "win32", reason="not known there")
UNPROVED = Protections(limit_in_on=True, guard=True, state_read_back=True)
SWEEP = ("--mode", "cut", "--settings", "150", "--loads", "500")
ALONE = UNPROVED.model_copy(update={"line_proof": True})


def at_bench(protections: Protections, operator: Operator) -> Bench:
    analyzer = SimpleNamespace(protections=protections)
    return cast("Bench", SimpleNamespace(analyzer=analyzer, operator=operator))


@pytest.mark.parametrize("ended", [False, True])
@pytest.mark.parametrize("protections", [UNPROVED, ALONE])
@pytest.mark.parametrize("operator", [TerminalOperator(PlainDisplay(), "A"), AbsentOperator("A")])
def test_it_is_said_and_refused_where_a_person_at_this_terminal_must_be_there(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    operator: Operator,
    protections: Protections,
    ended: bool,
) -> None:
    err.cache_clear()
    monkeypatch.setattr(standing_by, "input_has_ended", lambda: ended)
    wanted = protections is UNPROVED and isinstance(operator, TerminalOperator)
    if wanted and ended:
        with pytest.raises(OutOfCapability, match="It lacks: a proof of the line"):
            standing_by.see_who_stands_by(at_bench(protections, operator))
    else:
        standing_by.see_who_stands_by(at_bench(protections, operator))
    said = "A person must stand by while RF is on: without a proof of the line."
    assert capsys.readouterr().err.strip() == (said if wanted and not ended else "")


@NOT_ON_WINDOWS
def test_whether_input_has_ended_is_known_without_reading_it(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    lines = tmp_path / "lines"
    lines.write_bytes(b"yes\n")
    (empty := tmp_path / "empty").touch()

    def ended(descriptor: int, take: int = 0) -> bool:
        with os.fdopen(descriptor) as opened:
            monkeypatch.setattr(sys, "stdin", opened)
            os.read(descriptor, take)
            return keyboard.input_has_ended()

    def opened(path: Path | str) -> int:
        return os.open(path, os.O_RDONLY)

    assert ended(opened(os.devnull))
    assert ended(opened(empty))
    assert not ended(opened(lines))
    assert ended(opened(lines), take=4)
    read, write = os.pipe()
    os.write(write, b"yes\n")
    os.close(write)
    assert not ended(os.dup(read))
    assert ended(read, take=4)
    read, write = os.pipe()
    assert not ended(read)
    os.close(write)
    terminal, slave = os.openpty()
    assert not ended(slave)
    os.close(terminal)
    monkeypatch.setattr(sys, "stdin", None)
    assert keyboard.input_has_ended()


@NOT_ON_WINDOWS
@pytest.mark.parametrize("work", ["verify", "sweep"])
def test_a_run_that_nobody_can_attend_is_refused_before_rf(
    procedure: Path, tmp_path: Path, work: str
) -> None:
    with simulated(tmp_path, "--tcp", "--stepped") as bench:
        text = bench.read_text(encoding="utf-8")
        by_hand = '[analyzer]\nby_hand = ["foot switch"]\n'
        bench.write_text(text.replace("[analyzer]\n", by_hand, 1), encoding="utf-8")
        asked = {"verify": ("verify", str(procedure)), "sweep": ("sweep", *SWEEP)}[work]
        command = [*asked, "--bench", str(bench), "--records", str(tmp_path / "records")]
        done = subprocess.run(
            [sys.executable, "-m", "ohmwright", *command],
            stdin=subprocess.DEVNULL,
            capture_output=True,
            text=True,
            check=False,
            timeout=120,
        )
    assert done.returncode == OutOfCapability.exit_code
    assert "standard input has ended" in done.stderr
    assert "foot switch" in done.stderr
    assert "Nothing was switched on." in done.stderr
