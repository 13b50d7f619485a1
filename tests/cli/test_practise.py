"""Practice: keys of the keyboard are the unit's, one key answers, and it can be stopped."""

from __future__ import annotations

import os
import sys

import pytest

from ohmwright.api.open_bench import simulated_bench
from ohmwright.api.practice import (
    PracticeBench,
    by_port,
    by_practised_person,
    open_practice_bench,
    practice_bench,
    practice_job,
)
from ohmwright.cli.learner import Learner
from ohmwright.cli.panel_keys import KeyedAnswer, PanelKey, typed_keys
from ohmwright.cli.sound.sounding import Silence
from ohmwright.instruments.doubt_requests import LookForCause
from ohmwright.instruments.requests import (
    CountPresses,
    EnterService,
    LookAtAlarm,
    PressKey,
    Request,
)
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.cue import Cue
from ohmwright.wire.clock import RunningClock, VirtualClock
from tests.cli.test_live import MAIN, at_a_terminal, shown_until


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


def learner_at(seed: int) -> tuple[PracticeBench, RunningClock]:
    clock = RunningClock()
    opened = open_practice_bench(
        practice_bench(seed),
        clock,
        lambda panel: Learner(panel, clock, Silence(), quick_rests=True),
    )
    return opened, clock


def test_arrows_and_signs_are_keys_of_the_unit() -> None:
    typed = b"\x1b[C\x1bOB>d+\xc3\xa9\x1b[5"
    assert list(typed_keys(typed)) == [
        PanelKey("coarse", "up"),
        PanelKey("fine", "down"),
        PanelKey("coarse", "up"),
        "d",
        PanelKey("fine", "up"),
    ]


@pytest.mark.anyio
@pytest.mark.parametrize(
    ("request_", "keyed", "said"),
    [
        (EnterService("P1"), "\r", "done"),
        (EnterService("P1"), "d", "d"),
        (LookAtAlarm(), "y", "y"),
        (LookAtAlarm(), "\r", ""),
        (LookForCause("nothing flows", "look"), "dead", "dead"),
        (CountPresses(PressKey("coarse", "up", 3)), "2", "2"),
        (CountPresses(PressKey("coarse", "up", 20)), "1\x7f12", "12"),
        (CountPresses(PressKey("coarse", "up", 20)), "1\r", "1"),
        (CountPresses(PressKey("coarse", "up", 3)), "# it is 2\r", "# it is 2"),
    ],
)
async def test_one_key_is_enough_where_it_can_be_nothing_else(
    request_: Request, keyed: str, said: str
) -> None:
    answer = KeyedAnswer(request_)
    for i, character in enumerate(keyed):
        assert not answer.is_given, f"given after {keyed[:i]!r}"
        answer.take(character)
    answer.take("x")
    assert await answer.given() == said


def test_keys_move_the_trim_of_the_unit_and_rests_pass_quickly_while_nothing_is_to_be_done() -> (
    None
):
    opened, clock = learner_at(3)
    learner, panel = opened.person.person, opened.hardware.panel
    assert isinstance(learner, Learner)
    learner.on_keys(b">")
    assert "no presses" in learner.view.panel[1].plain
    panel.service(on=True)
    panel.point("cut current")
    before = opened.hardware.truth.trims["cut current"]
    learner.on_keys(b"\x1b[C+++")
    moved = opened.hardware.truth.trims["cut current"] - before
    assert moved == opened.hardware.truth.unit.coarse_counts + 3
    assert opened.hardware.truth.presses == 4
    rest = BenchStatus("off", clock.now_s(), rest_left_s=20.0)
    learner.on_status(rest)
    assert clock.rate > 1
    press = Cue("press", "Press coarse up once. RF is off.", "coarse", "up", 1)
    learner.cue(press)
    assert clock.rate == 1
    learner.on_status(rest._replace(cue=press))
    assert clock.rate == 1
    assert learner.view.picture().cue is not None


@pytest.mark.anyio
async def test_the_unit_compared_with_is_the_same() -> None:
    opened, _ = learner_at(5)
    again = simulated_bench(practice_bench(5), VirtualClock())
    for mode in ("cut", "coag"):
        assert opened.hardware.truth.gains(mode) == again.truth.gains(mode)
    job = practice_job(2)
    assert len(job.file.procedure.step) == 2
    practised, port = (
        await by_practised_person(practice_bench(5), job),
        await by_port(practice_bench(5), job),
    )
    assert 0 < port.rf_on_s < 2 * practised.rf_on_s < 180
    assert (practised.presses > 0, port.presses) == (True, 0)


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_practice_at_the_terminal_is_coached_and_can_be_stopped() -> None:
    with at_a_terminal(MAIN, "practise", "--seed", "3") as (ours, _, child):
        shown_until(ours, lambda shown: b">> Enter service mode" in shown)
        os.write(ours, b"\r")
        shown_until(ours, lambda shown: b"RF ON" in shown and b"Press " in shown)
        os.write(ours, b"\x1b[C")
        shown_until(ours, lambda shown: b"pressed: coarse up" in shown)
        os.write(ours, b"q")
        shown = shown_until(ours, lambda shown: b"nothing of it is kept" in shown)
        assert child.wait(60) == 4
    last = shown.rpartition(b"RF O")[2]
    assert last.startswith(b"FF")
    assert b"Presses were asked for once" in shown


@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_a_practice_is_stopped_at_the_first_request() -> None:
    with at_a_terminal(MAIN, "practise", "--seed", "3") as (ours, _, child):
        shown_until(ours, lambda shown: b">> Enter service mode" in shown)
        os.write(ours, b"q\r")
        shown = shown_until(ours, lambda shown: b"nothing of it is kept" in shown)
        assert child.wait(60) == 4
    assert b"No presses were asked for." in shown
