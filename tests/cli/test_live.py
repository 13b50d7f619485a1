"""The live view says of RF what is true, and a key in it stops the run."""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from rich.text import Text

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.api.rf_words import rf_picture
from ohmwright.api.run_notices import LOOK_IF_SAVED
from ohmwright.api.run_picture import request_picture
from ohmwright.api.run_view import RunWatch
from ohmwright.cli import live
from ohmwright.cli.live import LiveView
from ohmwright.cli.screen.fitting import Extent
from ohmwright.cli.screen.layout import screen
from ohmwright.cli.screen.pieces import rf_line
from ohmwright.cli.terminal_operator import TerminalOperator, _request_lines
from ohmwright.engine.as_left_evidence import MAY_BE_UNSAVED
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.instruments.hand_requests import ConnectLoad, PressFootSwitch
from ohmwright.instruments.requests import ConnectPath, PressKey, SelectMode
from ohmwright.model.bench_file import Simulation
from ohmwright.model.bench_status import BenchStatus, RfState, TargetBand
from ohmwright.model.cue import Cue
from ohmwright.model.event import PointDone
from ohmwright.model.result import Result
from ohmwright.model.shipped import shipped
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import VirtualClock
from ohmwright.wire.links.memory import MemoryLink

AIM = TargetBand(886.0, 900.0, 914.0)
ON = BenchStatus("on", 100.0, age_s=3.0, left_s=12.0, current_ma=812.34, aim=AIM)
REST = BenchStatus("off", 100.0, rest_left_s=14.0)
BY_FOOT = ON._replace(keyed_by_foot=True)
EACH_KIND_OF_STEP = Path(__file__).parents[2] / "scripts/faults/short.toml"
GAUGE = "      ·······[──────┼──────]········"


@pytest.mark.parametrize(
    ("moment", "after_s", "said"),
    [
        (None, 0.0, " ? RF NOT READ YET"),
        (REST, 0.4, " □ RF OFF   rest, 14 s to go"),
        (REST, 30.0, " □ RF OFF   last read 30 s ago"),
        (BenchStatus("off", 100.0), 0.0, " □ RF OFF"),
        (BenchStatus("off", 100.0), 300.0, " □ RF OFF   last read 5 min ago"),
        (
            REST._replace(rf="not proved"),
            0.4,
            " ? NO CURRENT READ   rest, 14 s to go  that RF is off is not proved",
        ),
        (
            BY_FOOT._replace(rf="not proved"),
            30.0,
            " ? NO CURRENT READ   last read 30 s ago; that RF is off is not proved",
        ),
        (BenchStatus("coming on", 100.0), 0.2, " ▲ RF IS ABOUT TO COME ON"),
        # ON was perhaps sent, and the line is silent since
        (BenchStatus("coming on", 100.0), 2.6, " ▲ RF MAY BE ON   nothing read for 3 s"),
        (BenchStatus("going off", 100.0), 0.2, " ▼ RF MAY BE ON   being ended, not read back yet"),
        (
            BenchStatus("going off", 100.0),
            5.0,
            " ▼ RF MAY STILL BE ON   switch the generator off at its mains switch",
        ),
        (ON, 0.2, " ■ RF ON   3.2 s, 12 s left"),
        (ON, 4.5, " ■ RF ON   7.5 s, 8 s left  last read 4 s ago"),
        (ON, 13.0, " ■ RF ON   16.0 s  its limit has run out"),
        (BenchStatus("on", 100.0), 0.0, " ■ RF ON"),
        (BenchStatus("unknown", 100.0), 0.0, " ? RF STATE UNKNOWN   switch the generator off"),
        (BY_FOOT, 0.2, " ■ RF ON   3.2 s, release in 12 s"),
        (BY_FOOT, 12.1, " ■ RF ON   15.1 s  RELEASE THE FOOT SWITCH NOW."),
        (BY_FOOT._replace(rf="coming on"), 0.2, " ▲ RF COMES ON WITH THE FOOT SWITCH"),
        (
            BY_FOOT._replace(rf="coming on", read_ago_s=4.0),
            5.0,
            " ▲ RF COMES ON WITH THE FOOT SWITCH   nothing read for 9 s",
        ),
        (REST._replace(read_ago_s=9.0), 0.4, " □ RF OFF   rest, 14 s to go  last read 9 s ago"),
        (
            BY_FOOT._replace(rf="going off"),
            9.0,
            " ▼ RF MAY STILL BE ON   RELEASE THE FOOT SWITCH NOW.",
        ),
        (BenchStatus("off", 100.0, read_by_eye=True), 5.0, " □ RF OFF   as told 5 s ago"),
    ],
)
def test_what_is_said_of_rf_is_true_when_it_is_read(
    moment: BenchStatus | None, after_s: float, said: str
) -> None:
    line = rf_line(rf_picture(moment, 100.0 + after_s), blocks=True)
    assert line.plain.startswith(said)
    assert len(line.plain) < 80


@pytest.mark.parametrize(
    ("rf", "by_foot", "said"),
    [
        ("on", False, "RF IS ON, keyed by the program."),
        ("on", True, "RF IS ON, by the foot switch."),
        ("going off", True, "RF MAY STILL BE ON."),
        ("unknown", False, "RF STATE UNKNOWN."),
        ("off", False, "RF comes on after this, keyed by the program."),
        ("off", True, "RF comes on after this, by the foot switch."),
        (
            "not proved",
            True,
            "It is not proved that RF is off. RF comes on after this, by the foot switch.",
        ),
    ],
)
def test_a_request_says_who_keys_and_never_that_rf_is_off(
    rf: RfState, by_foot: bool, said: str
) -> None:
    """Its words stand still while it is open; each form says the same."""
    request = PressFootSwitch(12.0) if by_foot else PressKey("fine", "up", 1)
    asked = next(_request_lines(request, "", rf, by_foot=by_foot)).plain
    assert asked == f">> {request.text}  {said}"
    watch = RunWatch()
    watch.on_status(BenchStatus(rf, 0.0, age_s=1.0))
    watch.open_request(request, "", by_foot=by_foot)
    drawn = watch.picture(0.0).request
    assert drawn is not None
    assert drawn.rf_words == said
    view = " ".join(line.plain for line in screen(watch.picture(0.0), Extent(119, 39), ""))
    assert said in " ".join(view.split())
    watch.on_status(BenchStatus("off" if rf == "on" else "on", 1.0))
    later = watch.picture(1.0).request
    assert later is not None
    assert later.rf_words != said


def test_no_other_request_says_that_a_foot_switch_brings_rf_on() -> None:
    """Mode and load were asked for with "RF comes on after this, by the foot switch"."""
    for request in (SelectMode("cut", 100.0), ConnectLoad(500.0), ConnectPath("OUTPUT")):
        asked = next(_request_lines(request, "", "off", by_foot=True)).plain
        assert asked == f">> {request.text}"
        assert not request_picture(request, "", 1, by_foot=True).rf_follows


@pytest.mark.anyio
async def test_whatever_the_line_says_of_rf_is_so() -> None:
    """Looked at in every pause of every kind of step, against the simulator's truth."""
    data = read_bench(shipped("benches", "demo.toml"))
    data = replace(data, file=data.file.model_copy(update={"simulation": Simulation(seed=3)}))
    lies, said, off_since_s = list[str](), set[str](), 0.0

    class ActivationReadings(VirtualClock):
        async def sleep(self, duration_s: float) -> None:
            for at_s in (self.now_s(), self.now_s() + duration_s):
                self._now_s = at_s
                look()
            await super().sleep(0.0)

    def look() -> None:
        nonlocal off_since_s
        on, line = hardware.truth.rf_on, view.line().plain
        said.add(line[:9].strip())
        off_since_s = clock.now_s() if on else off_since_s
        claims_on = "RF ON" in line
        if claims_on and clock.now_s() > off_since_s + 0.2:
            lies.append(f"{line}: off since {off_since_s:g} s at {clock.now_s():g} s")
        if on and "RF OFF" in line:
            lies.append(f"{line}: on at {clock.now_s():g} s")

    clock = ActivationReadings()
    hardware = simulated_bench(data, clock)
    view = LiveView(clock)
    analyzer = MemoryLink("analyzer", hardware.analyzer_port, clock)
    generator = MemoryLink("generator", hardware.generator_port, clock)
    bench = assemble_bench(
        data, clock, analyzer, generator, SimulatedOperator(hardware.panel, clock)
    )
    file = read_procedure(EACH_KIND_OF_STEP)
    async for event in run(Job(file, ("as_found", "adjust"), "seen"), bench, view.on_status):
        view.on_event(event)
        assert "NOT READ YET" not in view.line().plain
    assert lies == []
    assert {"□ RF OFF", "■ RF ON"} <= said


def test_a_cue_is_shown_at_once_and_until_another_takes_its_place() -> None:
    """With RF off the next status may be seconds away."""
    view = LiveView(VirtualClock())
    view.cue(Cue("press", "Press coarse up once.", "coarse", "up", 1))
    shown = view.picture().cue
    assert shown is not None
    assert shown.words == "Press coarse up once."
    view.on_status(ON._replace(cue=Cue("hold", "Hold.")))
    shown = view.picture().cue
    assert shown is not None
    assert shown.kind == "hold"
    view.on_status(ON)
    assert view.picture().cue is None


@pytest.mark.anyio
async def test_what_was_told_is_drawn_until_it_is_taken_back() -> None:
    view = LiveView(VirtualClock())
    person = TerminalOperator(view)
    await person.tell("RELEASE IT.")
    (told,) = view.picture().notices
    assert told.words == ">> RELEASE IT."
    person.take_back("RELEASE IT.")
    assert view.picture().notices == ()


@pytest.mark.anyio
async def test_what_was_told_stands_above_what_is_asked_next(
    capsys: pytest.CaptureFixture[str],
) -> None:
    view = LiveView(VirtualClock())
    person = TerminalOperator(view)
    question = [Text("What does the meter show?"), Text("> ")]
    await person.tell("RELEASE IT.")
    capsys.readouterr()  # it leaves the screen with what was drawn
    with view.prompt(question):
        assert capsys.readouterr().err.startswith(">> RELEASE IT.\nWhat does")
    person.take_back("RELEASE IT.")
    with view.prompt(question):
        assert "RELEASE" not in capsys.readouterr().err


def test_an_adjustment_that_may_not_be_saved_is_told_at_once(
    capsys: pytest.CaptureFixture[str],
) -> None:
    clock = VirtualClock()
    result = Result(
        stage="as_left",
        step="cut",
        point="P1",
        kind="output",
        verdict="pass",
        reason=MAY_BE_UNSAVED,
    )
    LiveView(clock).on_event(PointDone(at=clock.wall(), bench_s=1.0, result=result))
    told = " ".join(capsys.readouterr().err.split())
    assert f"cut, P1: {MAY_BE_UNSAVED}. {LOOK_IF_SAVED}" in told


def test_a_result_that_did_not_pass_is_seen_while_it_can_be_measured_again(
    capsys: pytest.CaptureFixture[str],
) -> None:
    view = LiveView(VirtualClock())
    result = Result(stage="as_found", step="cut", point="500 ohm", kind="output", verdict="fail")
    for done, is_shown in ((result, True), (result.model_copy(update={"verdict": "pass"}), False)):
        view.watch.on_event(PointDone(at=datetime.now(UTC), bench_s=0.0, result=done))
        with view.prompt([Text("Set the generator."), Text("> ")]):
            asked = capsys.readouterr().err
        assert ("last: fail" in asked and "as found: cut, 500 ohm" in asked) is is_shown


def test_codes_of_keys_that_were_typed_move_nothing_on_the_screen() -> None:
    lines = _request_lines(PressKey("fine", "up", 1), "'\x1b[A' is none.", None, by_foot=False)
    told = "".join(line.plain for line in lines)
    assert "\x1b" not in told
    assert "‹U+001B›[A" in told


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@contextmanager
def at_a_terminal(*command: str) -> Iterator[tuple[int, int, subprocess.Popen[bytes]]]:
    """A program with a terminal of its own: our end, its end, and the program."""
    ours, its = os.openpty()
    child = subprocess.Popen(
        [sys.executable, "-c", *command],
        stdin=its,
        stdout=its,
        stderr=its,
        preexec_fn=_own_terminal,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "80", "LINES": "24"},
    )
    try:
        yield ours, its, child
    finally:
        child.kill()
        child.wait()
        os.close(ours)
        os.close(its)


def _own_terminal() -> None:
    """As a shell gives a program its terminal."""
    import fcntl
    import termios

    os.setsid()
    fcntl.ioctl(0, termios.TIOCSCTTY, 0)


def shown_until(ours: int, found: Callable[[bytes], Any]) -> bytes:
    """What is shown until `found`; at most a minute."""
    shown, end_s = b"", time.monotonic() + 60
    while not found(shown) and time.monotonic() < end_s:
        if select.select([ours], [], [], 0.2)[0]:
            shown += os.read(ours, 65536)
    assert found(shown), shown[-2000:]
    return shown


MAIN = "from ohmwright.cli.main import main; main()"
pytestmark_terminal = pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")


RUNNING = """
import anyio, sys
from types import SimpleNamespace
from ohmwright.cli.signals import cancel_on_signal
from ohmwright.cli.live import LiveView, showing
from ohmwright.wire.clock import RealClock

async def work():
    bench = SimpleNamespace(clock=RealClock(), operator=None)
    view = LiveView(bench.clock)
    view.caution = "CAUTION: it burns."
    with showing(view, bench):
        with cancel_on_signal() as stop:
            print("it runs")
            await anyio.sleep_forever()
    print("stopped", stop.cancelled_caught)

anyio.run(work)
"""


AS_AT_A_TERMINAL = """
import signal
for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGQUIT", "SIGTSTP"):
    signal.signal(getattr(signal, name), signal.SIG_DFL)
"""
"""A shell without job control has what it starts in the background ignore some of them."""


@pytestmark_terminal
@pytest.mark.parametrize(
    "how",
    [
        b"q",
        b" ",
        b"\x04",
        signal.SIGINT,
        signal.SIGTERM,
        signal.SIGHUP,
        signal.SIGQUIT,
        signal.SIGTSTP,
    ],
)
def test_a_key_or_a_signal_stops_and_leaves_the_terminal_as_it_was(
    how: bytes | signal.Signals,
) -> None:
    import termios

    with at_a_terminal(AS_AT_A_TERMINAL + RUNNING) as (ours, its, child):
        before = termios.tcgetattr(its)
        shown = shown_until(ours, lambda shown: b"it runs" in shown)
        assert b"space or q stops" in shown
        assert b"CAUTION: it burns." in shown
        assert termios.tcgetattr(its) != before
        assert not termios.tcgetattr(its)[0] & termios.IXON  # Ctrl-S would freeze the screen alone
        if isinstance(how, bytes):
            os.write(ours, b"x")
            os.write(ours, how)
        else:
            child.send_signal(how)
        shown_until(ours, lambda shown: b"stopped True" in shown)
        assert child.wait(60) == 0
        assert termios.tcgetattr(its) == before


@pytestmark_terminal
@pytest.mark.parametrize("key", [b"q", b" "])
def test_a_key_stops_where_the_program_was_started_to_ignore_ctrl_c(key: bytes) -> None:
    ignoring = "import signal; signal.signal(signal.SIGINT, signal.SIG_IGN)\n"
    with at_a_terminal(ignoring + RUNNING) as (ours, _, child):
        assert b"space or q stops" in shown_until(ours, lambda shown: b"it runs" in shown)
        os.write(ours, key)
        shown_until(ours, lambda shown: b"stopped True" in shown)
        assert child.wait(60) == 0


TYPED_READINGS = RUNNING.replace(
    "with cancel_on_signal",
    """view.on_status(BY_EYE)
        with cancel_on_signal""",
).replace('print("stopped"', 'print(why_stopped(), "stopped"')
TYPED_READINGS = (
    """
from ohmwright.cli.signals import why_stopped
from ohmwright.model.bench_status import BenchStatus
BY_EYE = BenchStatus("on", 0.0, read_by_eye=True)
"""
    + TYPED_READINGS
)


@pytestmark_terminal
@pytest.mark.parametrize(
    ("last", "said"), [(b" ", b"end: space was pressed."), (b"q", b"end: q was pressed.")]
)
def test_a_figure_typed_too_early_stops_nothing_and_the_reason_names_the_key(
    last: bytes, said: bytes
) -> None:
    """The space of `250 mA` on a bench with typed readings, before the reading is asked for."""
    with at_a_terminal(TYPED_READINGS) as (ours, _, child):
        shown_until(ours, lambda shown: b"it runs" in shown)
        for typed in (b"250", b" ", b"m", b"A"):
            os.write(ours, typed)
            time.sleep(0.05)
        shown_until(ours, lambda shown: b"typed too early; space or q stops" in shown)
        assert child.poll() is None
        os.write(ours, last)
        shown_until(ours, lambda shown: said in shown and b"stopped True" in shown)
        assert child.wait(60) == 0


@pytestmark_terminal
@pytest.mark.parametrize("keys", [b"250  ", b"m 250", b" "])
def test_any_other_space_stops_with_typed_readings_too(keys: bytes) -> None:
    with at_a_terminal(TYPED_READINGS) as (ours, _, child):
        shown_until(ours, lambda shown: b"it runs" in shown)
        os.write(ours, keys)
        shown_until(ours, lambda shown: b"space was pressed. stopped True" in shown)
        assert child.wait(60) == 0


@pytestmark_terminal
def test_where_nothing_is_typed_a_space_after_a_digit_stops() -> None:
    with at_a_terminal(RUNNING) as (ours, _, child):
        shown_until(ours, lambda shown: b"it runs" in shown)
        os.write(ours, b"250 ")
        shown_until(ours, lambda shown: b"stopped True" in shown)
        assert child.wait(60) == 0


@pytestmark_terminal
def test_a_run_that_ends_leaves_the_terminal_as_it_was(tmp_path: Path, procedure: Path) -> None:
    import termios

    with at_a_terminal(MAIN, *_verify(procedure, tmp_path)) as (ours, its, child):
        before = termios.tcgetattr(its)
        shown_until(ours, lambda shown: b"Result:" in shown and b"space or q stops" in shown)
        assert child.wait(60) == 1
        assert termios.tcgetattr(its) == before


CRASH = """
import anyio
from types import SimpleNamespace
from ohmwright.cli.live import LiveView, showing
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import RealClock

async def work():
    bench = SimpleNamespace(clock=RealClock(), operator=None)
    with showing(LiveView(bench.clock), bench):
        await anyio.sleep(1)
        raise KeyError("a crash")

anyio.run(work)
"""


@pytestmark_terminal
def test_a_crash_leaves_the_terminal_as_it_was() -> None:
    import termios

    with at_a_terminal(CRASH) as (ours, its, child):
        before = termios.tcgetattr(its)
        shown_until(ours, lambda shown: b"space or q stops" in shown)
        assert termios.tcgetattr(its) != before
        shown_until(ours, lambda shown: b"a crash" in shown)
        assert child.wait(60) == 1
        assert termios.tcgetattr(its) == before


ASKING = """
import anyio
from types import SimpleNamespace
from ohmwright.cli.terminal_operator import TerminalOperator, PlainDisplay
from ohmwright.cli.live import LiveView, showing
from ohmwright.instruments.requests import PressKey
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.event import ActivationOpened, StageStarted, StepStarted
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import RealClock

async def work():
    clock, person = RealClock(), TerminalOperator(PlainDisplay())
    view = LiveView(clock)
    with showing(view, SimpleNamespace(clock=clock, operator=person)):
        now = {"at": clock.wall(), "bench_s": 0.0}
        view.on_event(StageStarted(**now, stage="adjust"))
        view.on_event(StepStarted(**now, stage="adjust", step="adjust-p1"))
        view.on_event(ActivationOpened(**now, load_ohm=50.0, limit_s=20.0))
        view.on_status(BenchStatus("on", clock.now_s(), age_s=1.0, left_s=20.0, current_ma=812.0))
        answer = await person.carry_out(PressKey("coarse", "up", 2))
    print("answered", answer.word)

anyio.run(work)
"""


def refreshed_thrice(shown: bytes) -> bool:
    """Whether RF's state was drawn three times since the request was printed."""
    return shown.rpartition(b">> Press coarse up 2 times.")[2].count(b"RF ON ") >= 3


@pytestmark_terminal
def test_the_line_goes_on_while_a_key_is_awaited() -> None:
    import termios

    with at_a_terminal(ASKING) as (ours, its, _child):
        shown = shown_until(ours, refreshed_thrice)
        assert not termios.tcgetattr(its)[0] & termios.IXON  # what is told of RF is not frozen
        question = shown.rpartition(b">> Press coarse up 2 times.")
        assert b"RF IS ON, keyed by the program." in question[2]
        ages = {part.split(b" s,")[0] for part in question[2].split(b"RF ON ")[1:]}
        assert len(ages) >= 3
        assert b"adjustment: adjust-p1, 50 ohm" in question[0]
        os.write(ours, b"q\n")
        shown_until(ours, lambda shown: b"none of the answers" in shown)
        time.sleep(0.5)
        os.write(ours, b"d\n")
        shown = shown_until(ours, lambda shown: b"answered done" in shown)
        assert shown.rfind(b"RF ON") > shown.rfind(b"\x1b[2K"), "the last line was wiped"


@pytestmark_terminal
def test_what_is_typed_before_a_request_can_be_read_moves_no_line() -> None:
    """Its echo would move the cursor, from which the line above the request is counted."""
    with at_a_terminal(ASKING) as (ours, _, _child):
        shown_until(ours, lambda shown: b">> Press coarse up 2 times." in shown)
        os.write(ours, b"early\n")
        shown = shown_until(ours, refreshed_thrice)
        assert b"early" not in shown.rpartition(b">> Press coarse up 2 times.")[2]
        time.sleep(0.5)
        os.write(ours, b"d\n")
        shown_until(ours, lambda shown: b"answered done" in shown)


STOPPED_WHILE_ASKED = ASKING.replace(
    """        answer = await person.carry_out(PressKey("coarse", "up", 2))
    print("answered", answer.word)""",
    """        with cancel_on_signal():
            await person.carry_out(PressKey("coarse", "up", 2))
    print(why_stopped())""",
)
STOPPED_WHILE_ASKED = (
    f"from ohmwright.cli.signals import cancel_on_signal, why_stopped\n{STOPPED_WHILE_ASKED}"
)


@pytestmark_terminal
@pytest.mark.parametrize(
    ("key", "said"),
    [
        (b"\x04", b"end: Ctrl-D was typed."),
        (b"\x1a", b"end: Ctrl-Z would have left it with nobody who watches RF."),
        (b"\x1c", b"end: it was told to quit (Ctrl-\\)."),
        (b"\x03", b"stopped before its end."),
    ],
)
def test_a_key_that_ends_a_question_stops_the_run_and_is_named(key: bytes, said: bytes) -> None:
    with at_a_terminal(AS_AT_A_TERMINAL + STOPPED_WHILE_ASKED) as (ours, _, child):
        shown_until(ours, refreshed_thrice)
        time.sleep(0.5)
        os.write(ours, key)
        shown_until(ours, lambda shown: said in shown)
        assert child.wait(60) == 0


def test_without_a_terminal_nothing_is_shown(tmp_path: Path, procedure: Path) -> None:
    call = [sys.executable, "-c", MAIN, *_verify(procedure, tmp_path)]
    done = subprocess.run(call, capture_output=True, check=False)
    assert (done.returncode, b"Result: FAIL" in done.stdout) == (1, True)
    assert b"RF O" not in done.stdout + done.stderr


def _verify(procedure: Path, folder: Path) -> tuple[str, ...]:
    bench = str(shipped("benches", "demo.toml"))
    return ("verify", str(procedure), "--bench", bench, "--records", str(folder / "r.sqlite"))


def test_a_terminal_of_one_column_ends_no_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """Text cannot be wrapped to nothing: a pane that is drawn small ended the program."""
    narrow = Console(stderr=True, width=1, height=1)
    monkeypatch.setattr(live, "err", lambda: narrow)
    view = LiveView(VirtualClock())
    view.caution = "HF output burns and ignites."
    with narrow.capture() as drawn:
        narrow.print(view._drawn())
    assert drawn.get()
