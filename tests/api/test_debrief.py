"""A practice tells each slip that truly happened, beside what the coach said of it."""

from __future__ import annotations

import pytest

from ohmwright.adjustment.actions import Press
from ohmwright.api.debrief import Effort, Pressed, debrief
from ohmwright.api.overheard import CoachRemark, CueGiven, OverheardOperator
from ohmwright.api.practice import open_practice_bench, practice_bench, practice_job
from ohmwright.cli.debrief_table import slip_said
from ohmwright.engine.run import run
from ohmwright.instruments.doubt_requests import LookAtPanel, LookForCause
from ohmwright.instruments.operator import Operator
from ohmwright.instruments.requests import (
    EnterService,
    LeaveService,
    Request,
    SelectMode,
    StoreTrims,
)
from ohmwright.simulator.cued_hands import Hands
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.simulator.panel import PanelFace
from ohmwright.wire.clock import VirtualClock

IN_USE = PanelFace("cut", 100.0, in_service=False, point=None, saved=True, alarm=False)
WRONG = "cut, 15 W", "service mode, point P2"
YOU = Effort(presses=0, rf_on_s=0.0, bench_s=0.0)
UP_2 = CueGiven(10.0, Press("coarse", 2))
A: Pressed = (12.0, "coarse", "up")
B: Pressed = (12.5, "coarse", "up")


@pytest.fixture
def anyio_backend() -> str:
    return "asyncio"


@pytest.mark.parametrize(
    ("pressed", "kind", "done"),
    [
        ([A, B], None, None),
        ([], "nothing taken by the unit", "nothing"),
        ([A], "too few", "coarse up once"),
        ([A, A, B], "too many", "coarse up 3 times"),
        ([A, B, (29.0, "coarse", "up")], "too many", "coarse up 3 times"),
        ([A, B, (40.2, "coarse", "up")], "too many", "coarse up 3 times"),
        ([(12.0, "fine", "up")] * 2, "other key", "fine up 2 times"),
        ([(12.0, "coarse", "down")], "other direction", "coarse down once"),
        ([(12.0, "fine", "down")], "something else", "fine down once"),
        ([(12.0, "fine", "up"), A, B], "something else", "fine up once and coarse up 2 times"),
    ],
)
def test_each_kind_of_slip(pressed: list[Pressed], kind: str | None, done: str | None) -> None:
    follows = [(41.0, "fine", "down")]
    asked = [UP_2, CueGiven(40.0, Press("fine", -1))]
    found = debrief(asked, [], [*pressed, *follows], None, YOU)  # type: ignore[list-item]
    shown = [(slip.kind, slip.done) for slip in found.slips]
    assert shown == ([] if kind is None else [(kind, done)])


def test_a_practice_that_is_stopped_before_any_request_has_no_slips() -> None:
    assert debrief([], [], [], None, YOU).slips == ()


def test_a_request_that_still_stands_when_it_is_stopped_is_no_slip() -> None:
    assert debrief([UP_2], [], [], None, YOU).slips == ()
    (slip,) = debrief([UP_2], [], [], 20.0, YOU).slips
    assert slip.kind == "nothing taken by the unit"
    left = debrief([UP_2, CueGiven(40.0, Press("fine", -1))], [], [A, B], None, YOU)
    assert (left.asked, left.standing) == (1, "fine down once")
    assert debrief([UP_2], [], [A, B], None, YOU).standing == ""
    assert [slip.kind for slip in debrief([UP_2], [], [A], None, YOU).slips] == ["too few"]


def test_what_the_coach_said_is_put_beside_the_slip_that_it_was_said_of() -> None:
    asked = [CueGiven(10.0 * n, Press("fine", 1)) for n in range(1, 5)]
    pressed: list[Pressed] = [(42.0, "fine", "up"), (5.0, "fine", "down")]
    said = [
        CoachRemark(9.0, "The meter shows the other key: a word too early."),
        CoachRemark(12.0, "The output has moved."),
        CoachRemark(23.0, "The meter shows none of what was asked for: fine up once."),
        CoachRemark(43.0, "An earlier cue was probably not carried out as asked (none)."),
    ]
    found = debrief(asked, said, pressed, 60.0, YOU)
    assert [(slip.noticed, slip.said_after_s) for slip in found.slips] == [
        (True, 33.0),
        (True, 3.0),
        (False, 13.0),
    ]
    assert found.noticed == 2
    assert found.unfounded == (said[0].words,)
    assert found.unasked == "fine down once"


def test_that_nothing_was_pressed_counts_as_noticed_for_all_that_was_said_to_be_done() -> None:
    asked = [CueGiven(10.0 * n, Press("coarse", 1)) for n in range(1, 4)]
    said = [CoachRemark(45.0, "What was pressed has changed nothing.")]
    found = debrief(asked, said, [(22.0, "fine", "up")], 50.0, YOU)
    assert [(slip.kind, slip.noticed) for slip in found.slips] == [
        ("nothing taken by the unit", True),
        ("other key", False),
        ("nothing taken by the unit", True),
    ]


@pytest.mark.anyio
async def test_the_question_of_what_changed_nothing_is_overheard() -> None:
    class Nobody(Operator):
        name = "nobody"

        async def reply(self, request: Request, problem: str) -> str:
            return "unknown"

    heard = OverheardOperator(Nobody(), VirtualClock(), lambda: IN_USE)
    await heard.carry_out(LookForCause("what was pressed has changed nothing", "look"))
    await heard.carry_out(LookForCause("no output was seen", "look"))
    assert [one.words for one in heard.said] == ["What was pressed has changed nothing."]


def test_a_slip_that_was_taken_for_another_is_told_so() -> None:
    said = [CoachRemark(15.0, "The meter shows none of what was asked for: coarse up 2 times.")]
    (none,) = debrief([UP_2], said, [], 20.0, YOU).slips
    (down,) = debrief([UP_2], said, [(12.0, "coarse", "down")] * 2, 20.0, YOU).slips
    assert [(one.noticed, one.otherwise) for one in (none, down)] == [(True, False), (True, True)]
    assert slip_said(down).startswith("Taken for another slip after 5 s")


@pytest.mark.anyio
@pytest.mark.parametrize("answer", ["done", "d"])
async def test_what_was_answered_as_done_and_was_not_is_told(answer: str) -> None:
    class Careless(Operator):
        name = "careless"

        async def reply(self, request: Request, problem: str) -> str:
            return answer

    asked: list[Request] = [
        SelectMode("cut", 100.0),
        EnterService("P1"),
        StoreTrims(),
        LeaveService(),
    ]
    in_service = IN_USE._replace(in_service=True, point="P1", saved=False)
    done = [IN_USE, in_service, in_service._replace(saved=True), IN_USE]
    not_done = [IN_USE._replace(setting_w=15.0), IN_USE, in_service, in_service]
    faces = iter([*done, *not_done])
    heard = OverheardOperator(Careless(), VirtualClock(), lambda: next(faces))
    for request in (*asked, *asked):
        await heard.carry_out(request)
    assert [words.rpartition(": ")[2] for words in heard.untrue] == [
        "the unit was set to cut, 15 W.",
        "the unit was in normal use.",
        "nothing was saved in the unit.",
        "the unit was still in service mode.",
    ]


@pytest.mark.anyio
@pytest.mark.parametrize(
    ("answer", "untrue"),
    [
        ("r", [f'"right": the panel said {says}.' for says in WRONG]),
        ("corrected", [f'"corrected": the panel said {says}.' for says in WRONG]),
        ("u", []),
    ],
)
async def test_who_calls_a_wrong_setting_right_is_told(answer: str, untrue: list[str]) -> None:
    class Careless(Operator):
        name = "careless"

        async def reply(self, request: Request, problem: str) -> str:
            return answer

    in_service = IN_USE._replace(in_service=True, point="P2")
    faces = iter([IN_USE._replace(setting_w=15.0), IN_USE, in_service, in_service])
    heard = OverheardOperator(Careless(), VirtualClock(), lambda: next(faces))
    for wanted in (*["cut, 100 W"] * 2, "service mode, point P1", "service mode, point P2"):
        await heard.carry_out(LookAtPanel("15 W was measured", wanted))
    told = [words.rpartition(" was answered with ")[2] for words in heard.untrue]
    assert told == untrue


@pytest.mark.anyio
async def test_slips_at_a_unit_are_told_by_the_truth_of_what_was_pressed() -> None:
    clock = VirtualClock()
    opened = open_practice_bench(
        practice_bench(12),
        clock,
        lambda panel: SimulatedOperator(panel, clock, hands=Hands.slipping(0.4), seed=12),
    )
    async for _ in run(practice_job(1), opened.bench):
        pass
    found = opened.debrief()
    assert [slip.kind for slip in found.slips] == [
        "other key",
        "other key",
        "other direction",
        "too many",
    ]
    assert [slip.noticed for slip in found.slips] == [True, True, False, False]
    # once that the other key was pressed, another slip was as likely
    assert [slip.otherwise for slip in found.slips] == [True, False, False, False]
    assert found.noticed == 1
    assert found.you.presses == len(opened.hardware.truth.pressed) > 0
    assert found.you.rf_on_s == opened.hardware.truth.rf_on_s > 0
