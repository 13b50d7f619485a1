"""RF that comes on while a person is asked: a pedal, say, while they have a hand at the leads."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import anyio
import pytest

from ohmwright.engine import watched_question
from ohmwright.engine.session import Session
from ohmwright.engine.unasked_rf import ensure_off_at_start
from ohmwright.engine.watched_question import watch_questions
from ohmwright.engine.watched_rest import rest
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import DONE, Instruct, Request
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.errors import LinkLost, ReleaseNotConfirmed, UnaskedOutput
from ohmwright.model.event import Asked, RunFinished, UnaskedRf
from ohmwright.model.step import Timing

from .conftest import Rig
from .test_evidence import one_cut_output
from .test_same_unit import POINT

pytestmark = pytest.mark.anyio
ASKED = Instruct("Join the leads.")


class Hesitating(Operator):
    """Does something while they are asked, and answers when `ready` is set."""

    name = "Ida"

    def __init__(self, does: Callable[[], None]) -> None:
        self.does, self.ready = does, anyio.Event()
        self.told, self.taken_back, self.given_up = list[str](), list[str](), False

    async def reply(self, request: Request, problem: str) -> str:
        self.does()
        try:
            await self.ready.wait()
        except BaseException:
            self.given_up = True
            raise
        return "done"

    async def tell(self, words: str) -> None:
        self.told.append(words)
        if "nobody had asked for it" in words:
            self.ready.set()

    def take_back(self, words: str) -> None:
        self.taken_back.append(words)


@pytest.fixture
async def rig(make_rig: Callable[..., Rig], monkeypatch: pytest.MonkeyPatch) -> Rig:
    monkeypatch.setattr(watched_question, "CHECK_EVERY_S", 0.01)
    rig = make_rig()
    await ensure_off_at_start(rig.bench, Session(rig.bench).pending)
    return rig


def asking(
    rig: Rig, does: Callable[[], None], seen: list[BenchStatus]
) -> tuple[Hesitating, Session]:
    """A person at the bench, and the run that asks them."""
    person = Hesitating(does)
    object.__setattr__(rig.bench, "operator", person)
    session = Session(rig.bench, seen.append)
    watch_questions(session)
    return person, session


def pedal(rig: Rig) -> None:
    rig.hardware._rig.close_contact(20.0)


async def test_rf_is_ended_and_told_while_the_question_stays_open(rig: Rig) -> None:
    seen: list[BenchStatus] = []
    person, session = asking(rig, partial(pedal, rig), seen)
    with anyio.fail_after(5):
        assert await person.carry_out(ASKED) == DONE
    assert not rig.hardware.truth.rf_on
    warned, told = person.told
    assert warned.startswith("RF IS ON, and nobody asked for it:")
    assert person.taken_back == [warned, told]
    assert {moment.rf for moment in seen} == {"off", "on"}
    assert seen[-1].rf == "off"
    assert [type(event) for event in session.pending.take()] == [UnaskedRf, Asked]


async def test_a_hand_at_the_leads_is_warned_once_off_is_sent_and_before_it_is_read_back(
    rig: Rig,
) -> None:
    """The first word came once RF had read off for two seconds; then, before OFF was sent."""
    person, _ = asking(rig, partial(pedal, rig), [])
    tell, seen = person.tell, list[tuple[bool, str]]()

    async def seen_telling(words: str) -> None:
        seen.append((rig.hardware.truth.rf_on, rig.bench.rf.state))
        await tell(words)

    person.tell = seen_telling  # type: ignore[method-assign]
    with anyio.fail_after(5):
        await person.carry_out(ASKED)
    assert seen == [(False, "on"), (False, "off")]


async def test_a_warning_that_nobody_can_be_given_does_not_keep_rf_on(rig: Rig) -> None:
    """Notices a closed terminal that ends the watch before RF is read back as off."""
    person, session = asking(rig, partial(pedal, rig), [])
    tell = person.tell

    async def failing(words: str) -> None:
        if words.startswith("RF IS ON"):
            raise BrokenPipeError
        await tell(words)

    person.tell = failing  # type: ignore[method-assign]
    with anyio.fail_after(5):
        assert await person.carry_out(ASKED) == DONE
    assert not rig.hardware.truth.rf_on
    assert [type(event) for event in session.pending.take()] == [UnaskedRf, Asked]


async def test_the_full_rest_follows_on_rf_in_a_question(rig: Rig) -> None:
    """Would notice a point that is measured on a unit that a pedal has just warmed."""
    person, session = asking(rig, partial(pedal, rig), [])
    with anyio.fail_after(5):
        await person.carry_out(ASKED)
    await rest(session, Timing(rest_s=30.0), power_w=100, tolerance=0.06)
    ((_, off_s),) = rig.hardware.truth.rf_on_intervals
    assert off_s is not None
    assert rig.bench.clock.now_s() - off_s >= 30


async def test_rf_that_stays_on_ends_the_question(rig: Rig) -> None:
    port = rig.hardware.analyzer_port
    rig.bench.analyzer.dialogue.framing.link._handle = lambda line: (
        b"" if line.startswith(b"OUTPut:STATe OFF") else port(line)
    )
    person, _ = asking(rig, partial(pedal, rig), [])
    with anyio.fail_after(20), pytest.raises(ReleaseNotConfirmed):
        await person.carry_out(ASKED)
    assert person.given_up
    assert any("MAY STILL BE ON" in words for words in person.told)


async def test_rf_that_comes_again_and_again_ends_the_question(rig: Rig) -> None:
    person, _ = asking(rig, partial(pedal, rig), [])

    async def tell(words: str) -> None:
        if "nobody had asked for it" in words:
            person.told.append(words)
            pedal(rig)

    person.tell = tell  # type: ignore[method-assign]
    with anyio.fail_after(5), pytest.raises(UnaskedOutput, match="3 times in one question"):
        await person.carry_out(ASKED)
    assert len(person.told) == 2
    assert not rig.hardware.truth.rf_on


async def test_a_line_that_fails_meanwhile_ends_no_question(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The question may be to connect it anew."""
    looks = 0

    async def lost() -> bool:
        nonlocal looks
        looks += 1
        if looks == 3:
            person.ready.set()
        raise LinkLost("It is gone.")

    seen: list[BenchStatus] = []
    person, _ = asking(rig, lambda: None, seen)
    monkeypatch.setattr(rig.bench.rf, "found_on", lost)
    with anyio.fail_after(5):
        assert await person.carry_out(ASKED) == DONE
    assert seen == [], "what was read last stays shown, with its age"


async def test_rf_that_was_asked_for_is_left_alone(rig: Rig) -> None:
    """As while presses are confirmed with RF on."""
    person, session = asking(rig, lambda: None, [])
    async with (
        session.activation(load_ohm=500, power_w=100, limit_s=10),
        anyio.create_task_group() as tasks,
    ):
        tasks.start_soon(person.carry_out, ASKED)
        await anyio.sleep(0.1)
        assert rig.hardware.truth.rf_on
        person.ready.set()
    assert person.told == []


async def test_a_look_under_way_is_finished_though_the_answer_came(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cut off, it would leave the line out of step for the question after it."""
    finished = False

    async def slow() -> None:
        nonlocal finished
        person.ready.set()
        await anyio.sleep(0.05)
        finished = True

    person, _ = asking(rig, lambda: None, [])
    monkeypatch.setattr(rig.bench.rf, "found_on", slow)
    with anyio.fail_after(5):
        assert await person.carry_out(ASKED) == DONE
    assert finished


async def test_between_two_looks_lies_what_is_said_to(
    rig: Rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    slept: list[float] = []

    async def sleep(wait_s: float) -> None:
        slept.append(wait_s)
        if len(slept) == 3:
            person.ready.set()
        await anyio.lowlevel.checkpoint()

    person, _ = asking(rig, lambda: None, [])
    patched = SimpleNamespace(sleep=sleep, CancelScope=anyio.CancelScope)
    monkeypatch.setattr(watched_question, "anyio", patched)
    with anyio.fail_after(5):
        assert await person.carry_out(ASKED) == DONE
    assert {*slept} == {watched_question.CHECK_EVERY_S}


async def test_a_run_has_its_questions_watched(
    make_rig: Callable[..., Rig], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(watched_question, "CHECK_EVERY_S", 0.01)
    rig = make_rig(bench="attended", attended=True)
    person, told = rig.bench.operator, anyio.Event()
    answer, asked = person.reply, 0

    async def reply(request: Request, problem: str) -> str:
        nonlocal asked
        asked += 1
        if asked == 1:
            pedal(rig)
            await told.wait()
        return await answer(request, problem)

    async def tell(words: str) -> None:
        if "nobody had asked for it" in words:  # RF is off again, and the panel can be worked
            told.set()

    monkeypatch.setattr(person, "reply", reply)
    monkeypatch.setattr(person, "tell", tell)
    with anyio.fail_after(20):
        events = await rig.run(one_cut_output(tmp_path, POINT), ("as_left",))
    assert [type(event) for event in events].count(UnaskedRf) == 1
    assert isinstance(events[-1], RunFinished)


@pytest.mark.parametrize("by_hand", ["keyed_by_foot", "read_by_eye"])
async def test_what_only_a_person_could_tell_is_not_asked_amid_a_question(
    rig: Rig, monkeypatch: pytest.MonkeyPatch, by_hand: str
) -> None:
    looks = 0

    async def look() -> None:
        nonlocal looks
        looks += 1

    person, _ = asking(rig, lambda: None, [])
    monkeypatch.setattr(type(rig.bench.analyzer), by_hand, True)
    monkeypatch.setattr(rig.bench.rf, "found_on", look)
    async with anyio.create_task_group() as tasks:
        tasks.start_soon(person.carry_out, ASKED)
        await anyio.sleep(0.1)
        person.ready.set()
    assert looks == 0
