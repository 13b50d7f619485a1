"""A person coached at the keys: nothing is typed, the readings show what was pressed."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace
from math import exp
from types import SimpleNamespace

import pytest

from ohmwright.adjustment.actions import Press, TakeReading
from ohmwright.adjustment.best_place import PlacesSeen
from ohmwright.adjustment.confirmation import Confirmation
from ohmwright.adjustment.point import Keys, PointSpec
from ohmwright.adjustment.policy import AdjustPolicy
from ohmwright.adjustment.press_reports import PressReports
from ohmwright.adjustment.press_seen import PressesSeen, SeenPress
from ohmwright.adjustment.runaway_check import RunawayCheck
from ohmwright.engine import adjust
from ohmwright.engine.adjustment_outcome import PRESSES_NOT_SURE
from ohmwright.engine.coach import NOT_SURE, THE_METER, Coach
from ohmwright.engine.coach_words import NAMES_EARLIER, NAMES_SLIP, seen_words
from ohmwright.engine.doubt import VerdictAndReason
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.rf_on_record import misfit_results
from ohmwright.engine.run import run
from ohmwright.engine.run_so_far import results
from ohmwright.engine.session import Session
from ohmwright.engine.trim_actuator import TrimActuator
from ohmwright.estimation.activation_record import Question
from ohmwright.estimation.thermal_droop import ResidualWarmth
from ohmwright.instruments.doubt_requests import LookForCause
from ohmwright.instruments.requests import CountPresses, LeaveUnsaved, PressKey, Request
from ohmwright.model.bench_status import BenchStatus
from ohmwright.model.cue import Cue
from ohmwright.model.event import (
    ActivationClosed,
    Asked,
    Event,
    ServiceLeft,
    TrimMoved,
    TrimsStored,
)
from ohmwright.model.shipped import shipped
from ohmwright.simulator.cued_hands import Acted, CuedHands, Hands, Slip
from ohmwright.simulator.operator import SimulatedOperator

pytestmark = pytest.mark.anyio
ATTENDED = shipped("procedures", "attended-marlow.toml")
COARSE_COUNTS = 16
"""What the data of its unit say that a coarse press is worth."""


class Scripted(CuedHands):
    """Hands that slip as they are told to at each cue, and keep what they were told."""

    def __init__(self, rig, *slips: Slip, hands: Hands | None = None) -> None:
        super().__init__(rig.hardware.panel, rig.bench.clock, hands or Hands(), seed=1)
        self.slips, self.cues = list(slips), list[Cue]()

    def _slip(self) -> Slip:
        return self.slips.pop(0) if self.slips else ""

    def follow(self, cue: Cue) -> None:
        self.cues.append(cue)
        super().follow(cue)


def with_hands(rig, *slips: Slip, hands: Hands | None = None) -> Scripted:
    assert isinstance(rig.bench.operator, SimulatedOperator)
    rig.bench.operator.hands = Scripted(rig, *slips, hands=hands)
    return rig.bench.operator.hands


@pytest.fixture
def rig(make_rig: Callable):
    return make_rig(seed=5, age_months=30, bench="attended", attended=True)


async def first_point(
    rig, on_status: Callable[[BenchStatus], None] = lambda _: None
) -> list[Event]:
    """The events of P1's adjustment, which contradict each other nowhere."""
    file = read_procedure(ATTENDED)
    steps = tuple(step for step in file.procedure.step if step.name == "adjust-p1")
    file = replace(file, procedure=file.procedure.model_copy(update={"step": steps}))
    events = [e async for e in run(Job(file, ("adjust",), "test"), rig.bench, on_status)]
    assert list(misfit_results(events)) == []
    return events


def press_answers(events: list[Event]) -> list[str]:
    return [e.question for e in events if isinstance(e, Asked) and "Press " in e.question]


def moved(events: list[Event]) -> list[TrimMoved]:
    return [e for e in events if isinstance(e, TrimMoved)]


def pressed_counts(hands: CuedHands) -> int:
    """What was pressed, by the simulator's truth."""
    return sum(
        (1 if direction == "up" else -1) * (COARSE_COUNTS if key == "coarse" else 1)
        for acted in hands.acted
        for _, key, direction in acted.presses
    )


async def test_a_point_is_adjusted_with_no_key_of_the_keyboard(rig) -> None:
    hands = with_hands(rig)
    seen: list[BenchStatus] = []
    events = await first_point(rig, seen.append)
    (result,) = results(events)
    assert result.verdict == "pass"
    assert press_answers(events) == []
    assert [cue.kind for cue in hands.cues if cue.kind in ("press", "done")][-1] == "done"
    assert {e.told_by for e in moved(events)} <= {THE_METER, NOT_SURE}
    assert str(result.trim_told_by).startswith(THE_METER)
    assert moved(events)[0].told_by == NOT_SURE, "one press and two look alike at first"
    assert sum(e.counts for e in moved(events)) == pressed_counts(hands)
    assert result.final_trim == pressed_counts(hands)
    on = [status.cue for status in seen if status.rf == "on"]
    assert {"hold", "press"} <= {cue.kind for cue in on if cue is not None}


@pytest.mark.parametrize("slip", ["missed", "other key"])
async def test_a_first_press_that_does_not_show_is_asked_for_again(rig, slip: Slip) -> None:
    hands = with_hands(rig, slip)
    events = await first_point(rig)
    first, second = [cue for cue in hands.cues if cue.kind == "press"][:2]
    assert (second.key, second.direction, second.presses) == (first.key, first.direction, 2)
    assert "shows none" in second.seen
    assert [r.verdict for r in results(events)] == ["pass"]
    assert press_answers(events) == []


async def test_a_first_press_the_other_direction_is_put_right_on_record(rig) -> None:
    """The gain was learned from it, so that it shows by what the next presses do."""
    hands = with_hands(rig, "other direction")
    events = await first_point(rig)
    (result,) = results(events)
    assert result.verdict == "pass"
    assert press_answers(events) == []
    assert any(NAMES_EARLIER in cue.words + cue.seen for cue in hands.cues)
    assert result.final_trim == sum(e.counts for e in moved(events)) == pressed_counts(hands)


@pytest.mark.parametrize("slip", ["other key", "other direction"])
async def test_a_slip_with_rf_off_is_noticed_by_the_next_activation(rig, slip: Slip) -> None:
    hands = with_hands(rig, "", slip)
    events = await first_point(rig)
    asked = hands.acted[1]
    assert (asked.slip, asked.cue.words.endswith("RF is off.")) == (slip, True)
    told = [cue.seen for cue in hands.cues[hands.cues.index(asked.cue) :]]
    assert any(name in each for each in told for name in NAMES_SLIP)
    as_asked = (asked.cue.key, asked.cue.direction == "up")
    first = [(e.key, e.counts > 0) for e in moved(events) if e.age_s is None][:1]
    assert as_asked not in first
    assert [r.verdict for r in results(events)] == ["pass"]


async def test_a_unit_of_unstated_droop_is_not_taken_as_rested_between_activations(
    rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    heats, activated = list[float](), AdjustPolicy.activated

    def noted(self: AdjustPolicy, warmth: ResidualWarmth) -> None:
        heats.append(warmth.heat)
        activated(self, warmth)

    monkeypatch.setattr(AdjustPolicy, "activated", noted)
    assert rig.bench.generator.data.droop is None
    events = await first_point(rig)
    on_s = [event.on_s for event in events if isinstance(event, ActivationClosed)]
    assert heats[0] == 0
    # 8 s of warming, 15 s of recovering, 20 s of rest
    assert heats[1] == pytest.approx((1 - exp(-on_s[0] / 8)) * exp(-20 / 15), abs=0.02)


async def test_one_rest_counts_down_while_presses_are_made_in_it(rig) -> None:
    with_hands(rig)
    seen: list[BenchStatus] = []
    await first_point(rig, seen.append)
    rests = [(s.bench_s, s.rest_left_s) for s in seen if s.rest_left_s is not None]
    ends = {round(at_s + left_s) for at_s, left_s in rests}
    pressed = [s for s in seen if s.rest_left_s is not None and s.cue and s.cue.kind == "press"]
    closed = len({s.bench_s for s in seen if s.rf == "going off"})
    assert pressed
    assert len(ends) == closed - 1


async def put_back_by_leaving(rig, verdict: str) -> None:
    """The first point ends so, and what was pressed is undone without asking for presses."""
    hands = with_hands(rig)
    began = rig.hardware.truth.trims["P1"]
    events = await first_point(rig)
    (result,) = results(events)
    assert result.verdict == verdict
    assert hands.acted
    assert press_answers(events) == []
    assert [e.point for e in events if isinstance(e, ServiceLeft)] == ["P1"]
    assert rig.hardware.truth.trims["P1"] == began
    assert result.final_trim == result.start_trim
    assert not any(isinstance(e, TrimsStored) for e in events)


async def test_a_point_given_up_is_put_back_by_leaving_unsaved(
    rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Nobody counts presses then: the unit itself puts the trim back."""
    monkeypatch.setattr(Confirmation, "outcome", lambda *_, late, **__: "continue")
    monkeypatch.setattr(PlacesSeen, "best", lambda _: None)
    await put_back_by_leaving(rig, "undecided")


async def test_a_point_that_ends_by_doubt_is_put_back_by_leaving_unsaved(
    rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Where presses went astray nobody knows how many would undo them."""
    looks = iter([None, ("fail", "far too much flowed, twice")])
    monkeypatch.setattr(adjust._Adjustment, "resolve_doubt", lambda _: _given(next(looks)))
    await put_back_by_leaving(rig, "fail")


async def test_a_unit_does_not_fail_by_presses_that_nobody_counted(
    rig, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever pressed three times for once made the counts seem too large: a sound unit failed."""
    too_coarse = "no count brings it into tolerance"
    monkeypatch.setattr(RunawayCheck, "why_unreachable", lambda *_, **__: too_coarse)
    (result,) = results(await first_point(rig))
    assert result.verdict == "undecided"
    assert result.reason.startswith(too_coarse)
    assert result.reason.endswith(PRESSES_NOT_SURE)


async def _given(verdict: VerdictAndReason | None) -> VerdictAndReason | None:
    return verdict


async def test_no_slip_is_seen_where_there_was_none(rig) -> None:
    hands = with_hands(rig)
    await first_point(rig)
    assert not any(name in cue.words + cue.seen for cue in hands.cues for name in NAMES_SLIP)


async def test_who_does_nothing_holds_no_rf_and_is_asked(rig) -> None:
    hands = with_hands(rig)
    hands.follow = hands.cues.append  # type: ignore[method-assign]
    events = await first_point(rig)
    closed = [e for e in events if isinstance(e, ActivationClosed)]
    assert closed[0].on_s < 30
    assert "How many of these had you done" in press_answers(events)[0]
    told = {e.told_by for e in moved(events)}
    assert told == {"simulated person"}
    assert [r.verdict for r in results(events)] == ["pass"]


@pytest.mark.parametrize("nothing", [False, True])
async def test_presses_that_the_meter_cannot_tell_show_when_rf_comes_on_again(
    rig, monkeypatch: pytest.MonkeyPatch, *, nothing: bool
) -> None:
    """A press may do less than the meter shows: who made it is not asked with the keyboard."""
    policy = AdjustPolicy(PointSpec(Question(900.0, 14.0, 1.0, 1.0), 30.0, 20.0, Keys()))
    coach = Coach(Session(rig.bench), policy, Keys(), lambda *_: None)
    untold = PressesSeen("none", (), 0.9, 0.05, False, nothing, 1.0, None, ())
    monkeypatch.setattr(PressReports, "look", lambda _: untold)
    monkeypatch.setattr(PressReports, "probably_nothing", False)
    policy.activated()
    coach.ask(Press("fine", 3), 8.0)
    assert coach.look(12.0, 48.0)
    assert coach._asked == Press("fine", 3 if nothing else 6)  # twice as many may show
    assert coach.look(16.0, 44.0)
    assert not coach.look(20.0, 40.0)
    assert coach.nobody_acts == nothing
    assert (coach.take_unanswered() is not None) == nothing
    assert (coach.take_unseen() == ()) == nothing


async def test_a_run_that_is_stopped_at_a_cue_tells_of_the_presses(rig) -> None:
    """What was cued and has not shown is neither on record as done nor forgotten."""
    hands = with_hands(rig)

    def stop(status: BenchStatus) -> None:
        if status.rf == "on" and status.cue is not None and status.cue.kind == "press":
            raise KeyError

    events: list[Event] = []
    with suppress(KeyError):
        job = Job(read_procedure(ATTENDED), ("adjust",), "test")
        async for event in run(job, rig.bench, stop):
            events.append(event)
    assert moved(events) == []
    assert "Press coarse up once" in str(events[-1].left_open)
    assert isinstance(hands.acted[0], Acted)


async def test_presses_that_the_meter_has_shown_are_put_back_by_hand(rig) -> None:
    question, keys = Question(900.0, 14.0, 1.0, 1.0), Keys(COARSE_COUNTS)
    policy = AdjustPolicy(PointSpec(question, 30.0, 20.0, keys))
    actuator = TrimActuator(Session(rig.bench), policy, "P1", 0)
    rig.hardware.panel.service(on=True)
    rig.hardware.panel.point("P1")
    before = rig.hardware.truth.trims["P1"]
    rig.hardware.panel.press("coarse", "up", 3)
    actuator.note_shown(Press("coarse", 3), 9.0, THE_METER)
    assert actuator.trim == 3 * COARSE_COUNTS
    await actuator.put_back(0)
    assert (actuator.trim, rig.hardware.truth.trims["P1"]) == (0, before)


async def test_what_was_decided_before_a_slip_was_told_is_not_asked_for(rig) -> None:
    """It was decided by where the trim was believed to stand, and would lead the output away."""
    policy = AdjustPolicy(PointSpec(Question(900.0, 14.0, 1.0, 1.0), 30.0, 20.0, Keys()))
    coach = Coach(Session(rig.bench), policy, Keys(), lambda *_: None)
    up, down = Press("coarse", 2), Press("coarse", -2)
    told = PressesSeen(
        "other direction", (SeenPress(0.0, up),), 0.9, 0.01, False, False, 1.0, None, ()
    )
    coach._before_rf.append(down)
    coach._reports.watch = SimpleNamespace(  # type: ignore[assignment]
        cue_s=None, asked=(down,), gain_known=True, at_the_end=lambda: told
    )
    policy.activated()
    policy._queue.move([Press("coarse", -3), Press("fine", -1)], rf_on=True)
    decided = policy.next_action()
    assert isinstance(decided, Press)
    coach.ask(decided, 8.2)
    assert not coach.waits
    assert isinstance(policy.next_action(), TakeReading)


async def test_a_key_whose_effect_is_not_known_is_pressed_to_learn_it(rig) -> None:
    hands = with_hands(rig)
    await first_point(rig)
    cues = [cue for cue in hands.cues if cue.kind == "press"]
    assert "Only to learn what it does." in cues[0].words
    assert "Only to learn" not in cues[-1].words


def test_a_press_more_or_less_is_not_ruled_out_by_what_is_said() -> None:
    asked = Press("coarse", 3)
    seen = PressesSeen("as asked", (SeenPress(1.0, asked),), 0.98, 0.98, True, False, 1.0, None, ())
    said = "The output has moved about as coarse up 3 times should move it."
    assert seen_words((asked,), seen) == said
    fewer = replace(
        seen, done="fewer", presses=(SeenPress(1.0, Press("coarse", 2)),), told_apart=False
    )
    assert seen_words((asked,), fewer).endswith("That is likely, and not sure yet.")


async def test_presses_that_nobody_can_count_leave_the_point_unsaved(rig) -> None:
    hands = with_hands(rig)
    hands.follow = hands.cues.append  # type: ignore[method-assign]
    asked, say = list[Request](), rig.bench.operator.reply

    async def reply(request: Request, problem: str) -> str:
        asked.append(request)
        return "another" if isinstance(request, CountPresses) else await say(request, problem)

    rig.bench.operator.reply = reply
    events = await first_point(rig)
    (result,) = results(events)
    assert (result.verdict, result.reason) == (
        "not measured",
        "what was pressed at P1 is not known, as told by simulated person",
    )
    assert isinstance(asked[-1], LeaveUnsaved)
    assert not rig.hardware.panel.face.in_service


async def test_a_cause_that_is_never_found_is_asked_for_twice(rig) -> None:
    rig.bench.operator.follows_cues = False
    asked, say = list[Request](), rig.bench.operator.reply

    async def reply(request: Request, problem: str) -> str:
        """Presses nothing, and says each time that it is mended."""
        asked.append(request)
        if isinstance(request, PressKey):
            return "done"
        return "again" if isinstance(request, LookForCause) else await say(request, problem)

    rig.bench.operator.reply = reply
    events = await first_point(rig)
    on_s = sum(event.on_s for event in events if isinstance(event, ActivationClosed))
    assert on_s < 90
    assert sum(isinstance(request, LookForCause) for request in asked) == 2
    (result,) = results(events)
    assert result.verdict == "not measured"
    assert "look whether the unit is in service mode at point P1" in result.reason
