"""What a person may say to a request, and what the run then does."""

import asyncio
import signal
from collections.abc import Callable, Iterable
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import anyio
import pytest
from rich.console import Console

from ohmwright.cli.live import LiveView
from ohmwright.cli.run_and_record import run_and_record
from ohmwright.cli.signals import stop_now
from ohmwright.cli.tables import run_tables
from ohmwright.engine import release
from ohmwright.engine.job import Job
from ohmwright.engine.pending_events import PendingEvents
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.requests_on_record import missing_requests
from ohmwright.engine.run import overall_verdict, run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.service_on_record import may_be_in_service
from ohmwright.instruments.operator import NO_ANSWER, GoBack, Operator, SkipStep, StopRun
from ohmwright.instruments.requests import (
    LEFT_BEFORE_GOING_ON,
    YES,
    EnterService,
    Inspect,
    Instruct,
    LeaveService,
    LeaveUnsaved,
    PressKey,
    Request,
    SelectMode,
    StoreTrims,
    press_text,
)
from ohmwright.model.errors import InspectionFailed, LinkError, RfUnsafe
from ohmwright.model.event import (
    ActivationOpened,
    Asked,
    Event,
    Fault,
    RunFinished,
    ServiceLeft,
    StepStarted,
    TrimMoved,
)
from ohmwright.model.shipped import shipped
from ohmwright.simulator.operator import SimulatedOperator

pytestmark = pytest.mark.anyio
ATTENDED = shipped("procedures", "attended-marlow.toml")
MONOPOLAR = shipped("procedures", "demo-monopolar.toml")
CUT = "cut current"


class Scripted(Operator):
    """Says what it is given, in order; keeps why it was asked again."""

    name = "Ida"

    def __init__(self, *says: str) -> None:
        self.says, self.problems = list(says), list[str]()
        self.heard: list[tuple[str, str]] = []
        self.on_answer = lambda _, answer, words: self.heard.append((answer, words))

    async def reply(self, request: Request, problem: str) -> str:
        self.problems.append(problem)
        return self.says.pop(0)


class Helper(SimulatedOperator):
    """A simulated person who confirms each request, and says something else to some."""

    follows_cues = False

    @classmethod
    def at(cls, rig, says: Callable[[Request, int], str | None]) -> "Helper":
        helper = cls(rig.hardware.panel, rig.bench.clock)
        helper.says, helper.asked = says, list[Request]()
        object.__setattr__(rig.bench, "operator", helper)
        rig.bench.generator._operator = helper
        return helper

    async def reply(self, request: Request, problem: str) -> str:
        self.asked.append(request)
        said = self.says(request, self.asked.count(request))
        return await super().reply(request, problem) if said is None else said


async def test_a_request_takes_its_named_answers_and_nothing_else() -> None:
    person = Scripted("", "  ", "ok", "d", "yes, mostly", " Y ")
    assert await person.carry_out(Inspect("Whole?")) == YES
    assert person.heard == [("yes", "")]
    assert person.problems[:3] == ["", "Nothing was typed.", "Nothing was typed."]
    assert all(problem.endswith("is none of the answers.") for problem in person.problems[3:])


@pytest.mark.parametrize(
    ("says", "raised", "heard"),
    [
        (["stop"], StopRun, [("stop", "")]),
        (["back"], GoBack, [("back", "")]),
        (["skip", "skip no lead here"], SkipStep, [("skip", "no lead here")]),
        (["#", "# hot today", "STOP"], StopRun, [("comment", "hot today"), ("stop", "")]),
        (["comment", "comment hot", "stop now", "stop"], StopRun, None),
    ],
)
async def test_to_every_request_a_person_may_say_more(says, raised, heard) -> None:
    person = Scripted(*says)
    with pytest.raises(raised):
        await person.carry_out(Instruct("Join it."))
    assert person.says == []
    assert person.heard == heard or heard is None


async def test_a_wait_that_was_given_up_is_told() -> None:
    person = Scripted()
    with pytest.raises(IndexError):
        await person.carry_out(StoreTrims())
    assert person.heard == [(NO_ANSWER, "")]


async def test_own_answers_come_before_what_every_request_takes() -> None:
    request = Inspect("No output?", (replace(YES, word="back", key="b"),))
    assert (await Scripted("back").carry_out(request)).key == "b"


async def kept(rig, stages=("as_found",), procedure: Path = ATTENDED, **job) -> list[Event]:
    events: list[Event] = []
    with suppress(InspectionFailed):
        async for event in run(Job(read_procedure(procedure), stages, "test", **job), rig.bench):
            events.append(event)
    return events


@pytest.fixture
def rig(make_rig: Callable):
    return make_rig(seed=5, age_months=30, bench="attended", attended=True)


def said(events: Iterable[Event]) -> list[tuple[str, str, str]]:
    return [(e.answer, e.words, e.told_by) for e in events if isinstance(e, Asked)]


async def test_everything_that_was_said_is_on_record(rig) -> None:
    helper = Helper.at(rig, lambda request, n: "#hm" if n == 1 and request.text[0] == "A" else None)
    events = await kept(rig)
    asked = [e for e in events if isinstance(e, Asked)]
    assert [e.question for e in asked] == [request.text for request in helper.asked]
    assert said(events)[1] == ("comment", "hm", "simulated person")
    assert {e.answer for e in asked} == {"done", "yes", "comment"}
    opened = [n for n, e in enumerate(events) if isinstance(e, ActivationOpened)]
    assert all(isinstance(events[n - 1], Asked) for n in opened)


async def test_a_no_to_an_inspection_ends_before_rf_and_is_asked_again(rig) -> None:
    Helper.at(rig, lambda request, _: "n" if isinstance(request, Inspect) else None)
    events = await kept(rig)
    assert rig.hardware.truth.rf_on_intervals == ()
    assert isinstance(events[-1], Fault)
    assert events[-1].error == "InspectionFailed"
    assert [r.verdict for r in results(events)] == ["fail"]
    helper = Helper.at(rig, lambda *_: None)
    resumed = await kept(rig, earlier=tuple(events))
    assert any(isinstance(request, Inspect) for request in helper.asked)
    assert overall_verdict([*results(events), *results(resumed)]) != "fail"


async def test_a_procedure_may_go_on_after_a_no(rig, tmp_path: Path) -> None:
    procedure = tmp_path / "on.toml"
    text = ATTENDED.read_text(encoding="utf-8")
    told = 'kind = "inspection"\ngo_on_if_no = true'
    procedure.write_text(text.replace('kind = "inspection"', told), encoding="utf-8")
    Helper.at(rig, lambda request, _: "n" if isinstance(request, Inspect) else None)
    events = await kept(rig, procedure=procedure)
    assert isinstance(events[-1], RunFinished)
    assert events[-1].verdict == "fail"


async def test_a_skip_leaves_points_not_measured_with_name_and_reason(rig) -> None:
    Helper.at(
        rig,
        lambda request, n: (
            "skip no 2 kohm lead" if request == SelectMode("cut", 150) and n == 2 else None
        ),
    )
    events = await kept(rig)
    assert isinstance(events[-1], RunFinished)
    curve = [r for r in results(events) if r.step == "cut-full"]
    assert [r.verdict != "not measured" for r in curve] == [True, False, False]
    reasons = {r.reason for r in curve[1:]}
    assert reasons == {"skipped by simulated person: no 2 kohm lead"}


async def test_back_does_the_step_before_again(rig) -> None:
    helper = Helper.at(
        rig,
        lambda request, n: "back" if request == SelectMode("cut", 100) and n == 1 else None,
    )
    events = await kept(rig)
    begun = [e.step for e in events if isinstance(e, StepStarted)]
    assert begun == ["prepare", "cords", "cut-rated", "cords", "cut-rated", "cut-full"]
    assert helper.asked.count(helper.asked[1]) == 2
    answers = [r for r in results(events) if r.step == "cords"]
    assert len(answers) == 2


async def test_back_within_a_step_begins_it_anew(rig) -> None:
    Helper.at(
        rig,
        lambda request, n: "back" if request == SelectMode("cut", 150) and n == 2 else None,
    )
    begun = [e.step for e in await kept(rig) if isinstance(e, StepStarted)]
    assert begun == ["prepare", "cords", "cut-rated", "cut-full", "cut-full"]


async def test_stop_ends_a_run_that_can_go_on(rig) -> None:
    Helper.at(rig, lambda request, _: "stop" if isinstance(request, SelectMode) else None)
    events = await kept(rig)
    assert isinstance(events[-1], Fault)
    assert (events[-1].error, events[-1].rf_state) == ("Stopped", "off")
    assert "simulated person" in events[-1].message
    assert said(events)[-1][0] == "stop"
    Helper.at(rig, lambda *_: None)
    assert isinstance((await kept(rig, earlier=tuple(events)))[-1], RunFinished)


async def test_what_was_pressed_is_undone_before_a_point_is_left(rig) -> None:
    presses = 0

    def says(request: Request, n: int) -> str | None:
        nonlocal presses
        presses += isinstance(request, PressKey)
        if isinstance(request, PressKey) and presses == 2:
            return "skip key is stuck"
        return "skip let it be" if isinstance(request, LeaveUnsaved) and n == 1 else None

    helper = Helper.at(rig, says)
    events = await kept(rig, stages=("adjust",))
    assert sum(isinstance(request, LeaveUnsaved) for request in helper.asked) == 2
    left = next(n for n, e in enumerate(events) if isinstance(e, ServiceLeft))
    moved = [e for e in events[:left] if isinstance(e, TrimMoved)]
    assert len(moved) == 1
    assert (events[left].point, events[left].told_by) == ("P1", "simulated person")
    first, *others = results(events)
    assert (first.verdict, first.reason) == (
        "not measured",
        "skipped by simulated person: key is stuck",
    )
    assert [r.verdict for r in others] == ["pass", "pass"]
    assert all(r.trim_told_by == "simulated person" for r in others)


async def test_nobody_is_asked_to_leave_service_mode_twice(rig) -> None:
    pressed = 0

    def says(request: Request, _: int) -> str | None:
        nonlocal pressed
        pressed = 0 if isinstance(request, EnterService) else pressed
        pressed += isinstance(request, PressKey)
        return "skip key is stuck" if isinstance(request, PressKey) and pressed == 2 else None

    helper = Helper.at(rig, says)
    await kept(rig, stages=("adjust",))
    leaving = [one for one in helper.asked if isinstance(one, LeaveService | LeaveUnsaved)]
    assert {type(one) for one in leaving} == {LeaveUnsaved}
    assert not rig.hardware.panel.face.in_service


async def test_service_mode_is_left_before_anything_else_whatever_is_said(rig) -> None:
    says = iter(("skip it will do", "back", None))
    helper = Helper.at(
        rig, lambda request, _: next(says, None) if isinstance(request, LeaveService) else None
    )
    await kept(rig, stages=("adjust",))
    assert sum(isinstance(one, LeaveService) for one in helper.asked) == 3
    assert not rig.hardware.panel.face.in_service


async def ended(rig, procedure: Path) -> tuple[list[Event], PendingEvents]:
    """The events of an adjust stage that ends early, and its notes."""
    notes, events = PendingEvents(), list[Event]()
    with suppress(KeyError, LinkError, RfUnsafe, anyio.get_cancelled_exc_class()):
        async for event in run(
            Job(read_procedure(procedure), ("adjust",), "test"), rig.bench, pending=notes
        ):
            events.append(event)
    return events, notes


def at_second_press(act: Callable[[], str]) -> Callable[[Request, int], str | None]:
    presses = 0

    def says(request: Request, _: int) -> str | None:
        nonlocal presses
        presses += isinstance(request, PressKey)
        return act() if isinstance(request, PressKey) and presses == 2 else None

    return says


def fail() -> str:
    raise KeyError


async def test_whoever_goes_on_takes_the_unit_out_of_service_mode_first(rig) -> None:
    Helper.at(rig, at_second_press(lambda: "stop"))
    earlier, _ = await ended(rig, ATTENDED)
    assert rig.hardware.panel.face.in_service
    says = iter(("skip not now", "back", None))
    helper = Helper.at(
        rig, lambda request, _: next(says, None) if request == LEFT_BEFORE_GOING_ON else None
    )
    again = await kept(rig, stages=("adjust",), earlier=tuple(earlier))
    asked = [type(one) for one in helper.asked if isinstance(one, LeaveUnsaved | EnterService)]
    assert asked[:4] == [LeaveUnsaved, LeaveUnsaved, LeaveUnsaved, EnterService]
    assert isinstance(again[-1], RunFinished)
    assert next(iter(missing_requests([*earlier, *again])), None) is None


async def test_what_the_part_before_left_open_is_told_until_somebody_says_it_is_undone(rig) -> None:
    """A run that went on and was stopped at its first question ended without a word of it."""
    Helper.at(rig, at_second_press(lambda: "stop"))
    earlier, _ = await ended(rig, ATTENDED)
    Helper.at(rig, lambda request, _: "stop" if request == LEFT_BEFORE_GOING_ON else None)
    again = await kept(rig, stages=("adjust",), earlier=tuple(earlier))
    assert isinstance(again[-1], Fault)
    assert "may still be in service mode, as the part before left it" in again[-1].left_open
    Helper.at(rig, lambda request, _: "stop" if isinstance(request, EnterService) else None)
    undone = await kept(rig, stages=("adjust",), earlier=(*earlier, *again))
    assert isinstance(undone[-1], Fault)
    assert "the part before" not in undone[-1].left_open


async def test_nobody_is_asked_so_where_service_mode_was_left_before(rig) -> None:
    helper = Helper.at(rig, lambda *_: None)
    whole = await kept(rig, stages=("adjust",))
    assert not may_be_in_service(whole)
    await kept(rig, stages=("adjust",), earlier=tuple(whole[:-1]))
    assert LEFT_BEFORE_GOING_ON not in helper.asked


@pytest.mark.parametrize("how", ["cancel", "fault", "stop"])
async def test_what_was_pressed_is_on_record_and_told_however_a_run_ends(rig, how: str) -> None:
    with anyio.CancelScope() as scope:

        def stop() -> str:
            if how == "cancel":
                scope.cancel()
                raise anyio.get_cancelled_exc_class()
            return "stop" if how == "stop" else fail()

        Helper.at(rig, at_second_press(stop))
        events, notes = await ended(rig, ATTENDED)
    handed_over = [*events, *notes.take()]
    moved = [e for e in handed_over if isinstance(e, TrimMoved)]
    assert [(e.key, e.counts != 0, e.told_by) for e in moved] == [
        ("coarse", True, "simulated person")
    ]
    presses = moved[0].counts // 16
    done = press_text("coarse", presses)
    assert f"shown by the meter, and not stored: {done} To undo that: " in notes.left_open
    assert press_text("coarse", -presses) in notes.left_open
    assert "adjustment point P1" in notes.left_open
    assert "not answered" in notes.left_open
    if how != "cancel":
        assert isinstance(events[-1], Fault)
        assert events[-1].left_open == notes.left_open
        assert events.index(moved[0]) < len(events) - 1


@pytest.mark.parametrize("answers", [True, False])
async def test_a_unit_with_a_port_is_told_to_leave(make_rig: Callable, answers: bool) -> None:
    rig = make_rig()
    generator, unit = rig.bench.generator, rig.hardware._rig.generator
    moved = 0

    async def move_trim(counts: int) -> int:
        nonlocal moved
        moved += 1
        if moved < 2:
            return await type(generator).move_trim(generator, counts)
        if not answers:
            generator.dialogue.framing.link._handle = lambda _: b""
        raise KeyError

    generator.move_trim = move_trim
    kept, notes = await ended(rig, MONOPOLAR)
    assert unit.in_service is not answers
    assert any(isinstance(e, ServiceLeft) for e in kept) is answers
    assert isinstance(kept[-1], Fault)
    assert kept[-1].left_open == notes.left_open
    assert ("without saving: what was moved at adjustment point" in notes.left_open) is answers
    assert ("Leave it there without saving." in notes.left_open) is not answers


async def test_a_unit_with_a_port_is_told_to_leave_however_often_a_run_is_cancelled(
    make_rig: Callable,
) -> None:
    rig = make_rig()
    generator, unit = rig.bench.generator, rig.hardware._rig.generator
    leave = generator.leave_unsaved

    async def move_trim(counts: int) -> int:
        task.cancel()
        await anyio.sleep_forever()
        return counts

    async def leave_unsaved() -> None:
        task.cancel()
        await anyio.lowlevel.checkpoint()
        await leave()

    generator.move_trim, generator.leave_unsaved = move_trim, leave_unsaved
    task = asyncio.get_running_loop().create_task(ended(rig, MONOPOLAR))
    await asyncio.wait([task])
    assert unit.in_service is False


async def deaf_after_a_move(rig, *, pedal: bool) -> tuple[list[Event], PendingEvents, int]:
    """A run in which no OFF is heard after the first move, or the pedal is held as well.

    With it the counts that the simulated unit was moved by until then.
    """
    generator, handle = rig.bench.generator, rig.hardware.analyzer_port
    link, before = rig.bench.analyzer.dialogue.framing.link, [0]

    async def move_trim(counts: int) -> int:
        link._handle = lambda line: b"" if b"STATe OFF" in line else handle(line)
        rig.hardware.panel.pedal(down=pedal)
        before[0] += counts
        return await type(generator).move_trim(generator, counts)

    generator.move_trim = move_trim
    kept, notes = await ended(rig, MONOPOLAR)
    return kept, notes, before[0]


async def test_where_rf_may_be_on_nothing_is_sent_and_what_was_moved_is_told(
    make_rig: Callable,
) -> None:
    rig = make_rig()
    kept, notes, moved = await deaf_after_a_move(rig, pedal=True)
    assert (kept[-1].error, kept[-1].rf_state) == ("ReleaseNotConfirmed", "on")
    assert rig.hardware._rig.generator.in_service
    assert f"trim was moved by {moved:+d} counts; not stored" in notes.left_open
    assert "Nothing was sent to it, since RF may be on." in notes.left_open
    assert kept[-1].left_open == notes.left_open


async def test_service_mode_is_left_once_rf_reads_off_whatever_ended_it(
    make_rig: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Only the limit ended it: that is what was read last, and no reason to trust OFF."""
    monkeypatch.setattr(release, "_TRIES", 400)  # until the limit
    rig = make_rig()
    kept, notes, moved = await deaf_after_a_move(rig, pedal=False)
    assert (kept[-1].error, kept[-1].rf_state) == ("OffNotProved", "off")
    assert not rig.hardware._rig.generator.in_service
    assert moved != 0
    assert any(isinstance(event, ServiceLeft) for event in kept)
    assert "left service mode by port, without saving" in notes.left_open


@pytest.mark.parametrize("leaves", [True, False])
async def test_a_trim_that_may_be_stored_is_not_told_as_undone(
    make_rig: Callable, leaves: bool
) -> None:
    """The unit stores, and the line is gone before it says so, or says nothing just then."""
    rig = make_rig()
    link = rig.bench.generator.dialogue.framing.link
    handle, told, before = link._handle, False, rig.hardware.truth.trims[CUT]

    def answer(line: bytes) -> bytes:
        nonlocal told
        told = told or b"STORe" in line
        reply = handle(line)
        return b"" if b"STORe?" in line or (told and not leaves) else reply

    link._handle = answer
    events, notes = await ended(rig, MONOPOLAR)
    assert rig.hardware._rig.generator._stored[CUT] != before
    assert "and did not read back as having done so: it may keep it." in notes.left_open
    assert "not stored" not in notes.left_open
    assert ("undone" in notes.left_open, events[-1].left_open) == (False, notes.left_open)
    assert any(isinstance(event, ServiceLeft) for event in events) == leaves


async def test_a_unit_worked_by_hand_is_told_so_in_the_table(rig) -> None:
    Helper.at(rig, lambda *_: None)
    events = await kept(rig, stages=("adjust",))
    console = Console(width=120)
    with console.capture() as shown:
        console.print(run_tables(events))
    final = next(iter(results(events))).final_trim
    assert f"0 to {final}† " in shown.get()
    assert "† counted from 0 by presses as told by simulated person; 0 is where" in shown.get()


async def test_an_answer_is_no_value_that_was_typed(rig) -> None:
    Helper.at(rig, lambda *_: None)
    console = Console(width=120)
    with console.capture() as shown:
        console.print(run_tables(await kept(rig)))
    assert "Mode and setting as told by simulated person" in shown.get()
    assert "answered by simulated person" in shown.get()
    assert "Values typed by" not in shown.get()


def ctrl_c() -> None:
    signal.raise_signal(signal.SIGINT)


def space_bar() -> None:
    stop_now("space was pressed")


@pytest.mark.parametrize(("stop", "why"), [(ctrl_c, "."), (space_bar, ": space was pressed.")])
async def test_a_stop_at_the_keys_loses_nothing_that_was_confirmed(
    make_rig: Callable, stop: Callable[[], None], why: str
) -> None:
    rig = make_rig(seed=4, age_months=30, bench="attended", attended=True)

    def interrupt() -> str:
        stop()
        return ""  # whatever is typed then

    class Kept:
        def __init__(self) -> None:
            self.events: list[Event] = []

        def append(self, _: str, event: Event) -> None:
            self.events.append(event)

    Helper.at(rig, at_second_press(interrupt))
    store, notes = Kept(), PendingEvents()
    job = Job(read_procedure(ATTENDED), ("adjust",), "test")
    await run_and_record(job, rig.bench, store, LiveView(rig.bench.clock), notes)
    *_, fault = store.events
    assert isinstance(fault, Fault)
    assert (fault.error, fault.rf_state) == ("Stopped", "off")
    assert fault.message == f"The run was stopped before its end{why}"
    moved = [e for e in store.events if isinstance(e, TrimMoved)]
    answered = [(e.question[:6], e.answer) for e in store.events if isinstance(e, Asked)]
    confirmed = [each for each in answered if each == ("Press ", "done")]
    assert len(moved) == len(confirmed) >= 1
    assert {e.told_by for e in moved} == {"simulated person"}
    assert "shown by the meter, and not stored: Press coarse" in fault.left_open
    assert fault.left_open == notes.left_open
