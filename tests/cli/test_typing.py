"""No answer is taken that was not given to that question, however a person types."""

from __future__ import annotations

import json
import os
import random
import re
import select
import subprocess
import sys
from pathlib import Path

import anyio
import pytest

from ohmwright.cli import keyboard, terminal_operator
from ohmwright.instruments.requests import DONE, NO, Inspect, Instruct
from ohmwright.model.errors import UsageError

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")

QUESTIONS = int(os.environ.get("OHMWRIGHT_TYPED_QUESTIONS", "40"))
"""More than a few when asked for: 500 take a minute or two."""
WORDS = (
    *(("d", "done", "y", "yes") * 4),
    *("n", "0", "1", "", "", "ok", "dd", "stop", "back", "skip", "skip no time", "# hm", "comment"),
)
_TAKEN = re.compile(r"<ask (\d+)>(.*?)<took (\d+) (\".*?\")>", re.DOTALL)


def test_no_answer_is_taken_that_was_not_given_to_that_question(tmp_path: Path) -> None:
    """The terminal's own echo tells what was typed after a question was shown."""
    log = tmp_path / "log.json"
    shown = typed_at_random(log, random.Random(7))
    said = json.loads(log.read_text(encoding="utf-8"))
    taken = _TAKEN.findall(shown)
    assert len(said) >= QUESTIONS
    assert len(taken) == shown.count("<took ") >= len(said)
    assert len({answer for _, answer, _ in said}) >= 4
    for asked, typed, took, line in taken:
        assert asked == took
        assert json.loads(line) in typed.replace("\r\n", "\n"), f"question {asked}: {line}"


def typed_at_random(log: Path, draw: random.Random) -> str:
    """Everything the terminal showed while words were typed into it at random times."""
    master, slave = os.openpty()
    program = Path(__file__).with_name("typed_run.py")
    child = subprocess.Popen(
        [sys.executable, str(program), str(QUESTIONS), str(log)],
        stdin=slave,
        stderr=slave,
        stdout=subprocess.DEVNULL,
        start_new_session=True,
        env={**os.environ, "COLUMNS": "200", "NO_COLOR": "1", "TERM": "dumb"},
    )
    os.close(slave)
    shown = b""
    while True:
        pause_s = draw.choice((0.0, 0.001, 0.01, 0.03))
        ready, _, _ = select.select([master], [], [], pause_s)
        try:
            if ready:
                shown += os.read(master, 65536)
        except OSError:  # nobody has the terminal any more
            break
        if not ready or draw.random() < 0.2:
            end = draw.choice(("\n", "\n", "\n\n", ""))
            os.write(master, f"{draw.choice(WORDS)}{end}".encode())
    assert child.wait() == 0
    os.close(master)
    return shown.decode(errors="replace")


@pytest.mark.anyio
async def test_what_is_typed_before_a_request_can_have_been_read_is_thrown_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """An impatient second answer comes when the next request is shown already."""
    ours, its = os.openpty()

    class Reading:
        async def sleep(self, _: float) -> None:
            os.write(ours, b"y\n")
            assert select.select([its], [], [], 10)[0]

    def show_then_type() -> None:
        keyboard.show_typing()  # which discards what was typed until then
        os.write(ours, b"n\n")

    monkeypatch.setattr(terminal_operator, "_TIME", Reading())
    monkeypatch.setattr(terminal_operator, "show_typing", show_then_type)
    with os.fdopen(its, closefd=True) as terminal:
        monkeypatch.setattr(sys, "stdin", terminal)
        person = terminal_operator.TerminalOperator(terminal_operator.PlainDisplay())
        assert await person.carry_out(Inspect("Is the cord whole?")) == NO
    os.close(ours)


@pytest.mark.anyio
async def test_lines_of_a_pipe_answer_in_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    read, write = os.pipe()
    os.write(write, b"ok\nd\nn\n")
    os.close(write)
    with os.fdopen(read) as lines:
        monkeypatch.setattr(sys, "stdin", lines)
        monkeypatch.setattr(terminal_operator.TerminalOperator, "reading_time_s", 0.0)
        person = terminal_operator.TerminalOperator(terminal_operator.PlainDisplay())
        assert await person.carry_out(Instruct("Join the lead.")) == DONE
        assert await person.carry_out(Inspect("Is the cord whole?")) == NO
        with pytest.raises(UsageError, match="standard input has ended"):
            await person.carry_out(Instruct("Join the lead."))


@pytest.mark.anyio
async def test_an_endless_input_without_lines_keeps_no_stop_waiting(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Would notice a program that hears neither Ctrl-C nor SIGTERM while it reads such a file."""
    left = iter(range(200_000))  # so that the test ends in any case
    monkeypatch.setattr(os, "read", lambda *_: b"x" if next(left, None) is not None else b"")
    zeros = os.open("/dev/zero", os.O_RDONLY)
    with anyio.move_on_after(0.05) as stop:
        await keyboard._line_of(zeros)
    os.close(zeros)
    assert stop.cancelled_caught


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"
