"""What a person must have been asked, and the record does not hold, contradicts it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path

import anyio
import pytest

from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import assemble_bench, simulated_bench
from ohmwright.engine.answers_on_record import differing_answers
from ohmwright.engine.contradictions import quick_contradictions
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.requests_on_record import missing_requests
from ohmwright.engine.run import run
from ohmwright.engine.steps.contact_quality import apart_words
from ohmwright.engine.thresholds_on_record import differing_thresholds
from ohmwright.instruments.operator import NO_ANSWER
from ohmwright.instruments.requests import Inspect, LeaveService, PressKey, ReadSerialPlate, Request
from ohmwright.model.assignment import Assignment
from ohmwright.model.event import (
    Asked,
    DocumentKept,
    Event,
    PointDone,
    RunFinished,
    RunResumed,
    RunStarted,
    UnitIdentified,
)
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES, Stage
from ohmwright.reports.certificate import certificate_of
from ohmwright.reports.result_tables import step_groups
from ohmwright.simulator.operator import SimulatedOperator
from ohmwright.wire.clock import VirtualClock

from .test_answered_steps import CSV, PROCEDURE, UNIT, _from
from .test_answered_steps import given as given
from .test_answered_steps import path as path
from .test_by_hand import ALL, FOOT
from .test_by_hand import make as make_by_hand
from .test_people import Helper

pytestmark = pytest.mark.anyio
ATTENDED = shipped("procedures", "attended-marlow.toml")
GIVEN = "given values"
SAID = {"Earth?": ["0.35"], "Pedal?": ["2"], "Cords?": ["as new"]}


def found(events: Iterable[Event]) -> list[str]:
    events = tuple(events)
    said = [said for check in (differing_answers, missing_requests) for _, said in check(events)]
    assert {*said} <= {told for _, told in quick_contradictions(events)}
    return said


def is_yes(event: Event) -> bool:
    return isinstance(event, Asked) and event.answer == "yes"


def without(events: Sequence[Event], words: str) -> list[Event]:
    """The events without what was asked in these words; there was something."""
    left = [e for e in events if not (isinstance(e, Asked) and words in e.question)]
    assert len(left) < len(events), words
    return left


@pytest.fixture
async def inspected(make_rig: Callable) -> Sequence[Event]:
    rig = make_rig(seed=5, bench="attended", attended=True)
    file = read_procedure(ATTENDED)
    kinds = ("inspection", "instruction")
    steps = tuple(step for step in file.procedure.step if step.kind in kinds)
    file = replace(file, procedure=file.procedure.model_copy(update={"step": steps}))
    return [event async for event in run(Job(file, ("as_found",), "test"), rig.bench)]


async def test_an_answer_that_was_changed_or_left_out_is_named(inspected: Sequence[Event]) -> None:
    asked = sum(map(is_yes, inspected))
    assert asked > 0
    assert found(inspected) == []
    no = [e.model_copy(update={"answer": "no"}) if is_yes(e) else e for e in inspected]
    changed = found(no)
    assert len(changed) == asked
    assert all("the answer was no" in said for said in changed)
    missing = found([e for e in inspected if not is_yes(e)])
    assert len(missing) == asked
    assert all("no answer is on record" in said for said in missing)


async def test_what_an_inspection_asked_is_on_its_paper(inspected: Sequence[Event]) -> None:
    questions = [e.question for e in inspected if is_yes(e) and isinstance(e, Asked)]
    groups = list(step_groups(certificate_of(inspected)))
    assert [g.requirement for g in groups] == [f"Required: yes to: {one}" for one in questions]
    assert {row.found.value for g in groups for row in g.rows} == {"yes"}
    (who,) = {e.told_by for e in inspected if is_yes(e) and isinstance(e, Asked)}
    assert {g.at for g in groups} == {f"answered by {who}"}
    for change, told in (
        ({"requirement": "yes to: X?"}, "its procedure asks"),
        ({"requirement": f"yes to: {questions[0]} It is safe."}, "its procedure asks"),
        ({"said": "no"}, "its result says 'no', and its verdict follows from 'yes'"),
    ):
        other = [
            e.model_copy(update={"result": e.result.model_copy(update=change)})
            if isinstance(e, PointDone) else e for e in inspected
        ]  # fmt: skip
        assert all(told in said for said in found(other))
        assert len(found(other)) == len(questions)


async def test_an_instruction_that_nobody_answered_is_named(inspected: Sequence[Event]) -> None:
    done = [e for e in inspected if isinstance(e, Asked) and e.answer == "done"]
    assert done
    (said,) = found([e for e in inspected if e is not done[0]])
    assert "no answer on record says that it was done or skipped" in said
    skipped = done[0].model_copy(update={"answer": "skip"})
    assert found([skipped if e is done[0] else e for e in inspected]) == []
    cut_short = [e for e in inspected if not isinstance(e, Asked | RunFinished)]
    assert not any("was done" in said for said in found(cut_short))


async def test_an_instruction_is_answered_in_each_stage(make_rig: Callable) -> None:
    """Would notice an instruction of one stage that counts as done by the answer in another."""
    file = read_procedure(ATTENDED)
    (step, *_) = (step for step in file.procedure.step if step.kind == "instruction")
    stages: tuple[Stage, ...] = ("as_found", "as_left")
    step = step.model_copy(update={"stages": stages})
    file = replace(file, procedure=file.procedure.model_copy(update={"step": (step,)}))
    rig = make_rig(seed=5, bench="attended", attended=True)
    events = [event async for event in run(Job(file, stages, "test"), rig.bench)]
    done = [e for e in events if isinstance(e, Asked) and e.answer == "done"]
    left = [e for e in events if e is not done[-1]]
    said = [said for _, said in differing_answers(left)]
    assert any("as left: no answer on record says that it was done" in one for one in said), said


@pytest.fixture
async def answered(make_rig: Callable, path: Path) -> list[Event]:
    rig = make_rig(attended=True)
    rig.bench.operator.reply = _from({key: list(said) for key, said in SAID.items()})
    job = Job(read_procedure(path), ("as_left",), "test")
    return [event async for event in run(job, rig.bench)]


async def test_figures_words_and_choices_are_held_against_what_was_typed(
    answered: Sequence[Event],
) -> None:
    events = answered
    assert found(events) == []
    for question in SAID:
        (said,) = found(without(events, question))
        assert "no answer is on record" in said
    other = [
        e.model_copy(update={"answer": "0.15"}) if isinstance(e, Asked) and "Earth" in e.question
        else e for e in events
    ]  # fmt: skip
    assert found(other) == ["earth, answer: its result says '0.35', and the answer was 0.15"]


@pytest.mark.parametrize(
    ("step", "change", "told"),
    [
        ("earth", {"verdict": "pass"}, "it says 0.35: pass, and its answer '0.35' gives {}"),
        ("earth", {"value": 0.05}, "it says 0.05: fail, and its answer '0.35' gives {}"),
        ("pedal", {"verdict": "pass"}, "it says pass, and its answer 'none' gives fail"),
        ("pedal", {"said": "?"}, "its result says '?', which is no answer to its question"),
        ("earth", {"said": ""}, "its result says '', which is no answer to its question"),
    ],
)
async def test_a_verdict_that_its_answer_does_not_give_is_told(
    answered: list[Event], step: str, change: dict[str, object], told: str
) -> None:
    (done,) = (e for e in answered if isinstance(e, PointDone) and e.result.step == step)
    if (value := change.get("value")) is not None and done.result.measured is not None:
        change = {"measured": done.result.measured.model_copy(update={"value": value})}
    other = done.model_copy(update={"result": done.result.model_copy(update=change)})
    (said,) = (said for _, said in differing_answers([other if e is done else e for e in answered]))
    assert said == f"{step}, answer: {told.format('0.35: fail')}"


async def test_what_a_file_answered_needs_no_question_but_the_file(
    make_rig: Callable, path: Path, given: Callable
) -> None:
    assignment = Assignment(given=given(CSV.format("0.08")))
    job = Job(read_procedure(path), ("as_left",), "test", assignment=assignment)
    events = [event async for event in run(job, make_rig().bench)]
    assert found(events) == []
    (kept,) = (e for e in events if isinstance(e, DocumentKept) and e.document.role == GIVEN)
    other = kept.document.model_copy(update={"name": "w.csv"})
    for instead in ([], [kept.model_copy(update={"document": other})]):
        at = events.index(kept)
        said = found([*events[:at], *instead, *events[at + 1 :]])
        assert len(said) == PROCEDURE.count("prompt")
        assert all("'v.csv', and no such file is kept" in one for one in said)


async def test_a_skip_is_held_against_what_was_said(make_rig: Callable) -> None:
    rig = make_rig(seed=5, bench="attended", attended=True)

    def says(request: Request, _: int) -> str | None:
        return "skip too dark" if isinstance(request, Inspect) else None

    Helper.at(rig, says)
    job = Job(read_procedure(ATTENDED), ("as_found",), "test")
    events = [event async for event in run(job, rig.bench)]
    assert found(events) == []
    left = [e for e in events if not (isinstance(e, Asked) and e.answer == "skip")]
    said = found(left)
    assert said
    assert all("too dark; that nobody said" in one for one in said)


@pytest.mark.parametrize("coached", [True, False])
async def test_what_a_unit_without_a_port_needs_a_person_for(
    make_rig: Callable, *, coached: bool
) -> None:
    rig = make_rig(seed=5, bench="attended", attended=True)
    if not coached:
        Helper.at(rig, lambda *_: None)
    job = Job(read_procedure(ATTENDED), STAGES, "test")
    events = [event async for event in run(job, rig.bench)]
    assert found(events) == []
    for words, told in (
        ("Set the generator to cut, ", "was chosen by hand"),
        ("Enter service mode", "service mode was entered by hand"),
        ("Leave service mode.", "service mode was left by hand"),
        ("Save the adjustment", "an adjustment was saved by hand"),
        *(() if coached else [("Press ", "was moved as told by")]),
    ):
        said = found(without(events, words))
        assert said, words
        assert all(told in one and "no such answer is on record" in one for one in said), said


async def test_presses_that_were_undone_by_leaving_need_a_person(make_rig: Callable) -> None:
    rig = make_rig(seed=5, bench="attended", attended=True)
    presses = list[Request]()

    def says(request: Request, _: int) -> str | None:
        presses.extend([request] if isinstance(request, PressKey) else [])
        return "skip enough" if len(presses) == 2 and request is presses[1] else None

    Helper.at(rig, says)
    job = Job(read_procedure(ATTENDED), STAGES, "test")
    events = [event async for event in run(job, rig.bench)]
    assert found(events) == []
    said = found(without(events, "WITHOUT saving"))
    assert any("service mode was left by hand, without saving" in one for one in said), said


BY_HAND = """
title = "t"
revision = "1"
model = "Quillon 300"
defaults = { age_s = 6.0, rest_s = 20.0, max_on_s = 20.0 }

[[step]]
kind = "power_curve"
name = "cut"
mode = "cut"
setting_w = 100
loads_ohm = [500, 1000]
power_w = [100, 100]
tolerance = { percent = 20 }

[[step]]
kind = "leakage"
name = "leaks"
mode = "cut"
setting_w = 310
limit_ma = 150

[[step]]
kind = "contact_quality"
name = "neutral"
from_ohm = 80
to_ohm = 180
step_ohm = 10
alarm_above_ohm = 100
alarm_below_ohm = 160
"""


@pytest.fixture
async def by_hand(tmp_path: Path) -> Sequence[Event]:
    """A run in which a person does all that can be done by hand, at a unit without a port."""
    text = shipped("benches", "demo.toml").read_text()
    by_hand = 'by_hand = ["load", "path", "contact", "foot switch", "reading"]'
    text = text.replace('link = { kind = "simulated" }', by_hand, 1)
    text = text.replace('link = { kind = "simulated" }\n', "", 1)
    (tmp_path / "bench.toml").write_text(text)
    (tmp_path / "p.toml").write_text(BY_HAND)
    data, clock = read_bench(tmp_path / "bench.toml"), VirtualClock()
    hardware = simulated_bench(data, clock)
    person = SimulatedOperator(hardware.panel, clock, hardware.front)
    bench = assemble_bench(data, clock, None, None, person)
    job = Job(read_procedure(tmp_path / "p.toml"), ("as_found",), "test")
    return [event async for event in run(job, bench)]


def _contradicted_by_its_other_threshold(events: Sequence[Event]) -> None:
    """Where the alarm comes on is moved: first alone, then with the words of the other result."""
    assert list(differing_thresholds(events)) == []

    def forged(event: Event, words: str) -> Event:
        if not isinstance(event, PointDone) or event.result.kind != "contact_quality":
            return event
        result, measured = event.result, event.result.measured
        assert measured is not None
        if result.point == "alarm":
            measured = measured.model_copy(update={"value": measured.value - 30.0})
            return event.model_copy(
                update={"result": result.model_copy(update={"measured": measured})}
            )
        update = {"held_against_it": words or result.held_against_it}
        return event.model_copy(update={"result": result.model_copy(update=update)})

    (clear,) = (e.result for e in events if e.kind == "point_done" and e.result.point == "clear")
    (alarm,) = (e.result for e in events if e.kind == "point_done" and e.result.point == "alarm")
    assert alarm.measured is not None
    assert clear.measured is not None
    words = apart_words(alarm.measured.value - 30.0 - clear.measured.value)
    for said_there, why in (("", "by both values on record it goes out"), (words, "make it fail")):
        found_there = quick_contradictions([forged(event, said_there) for event in events])
        assert [said for _, said in found_there if why in said]
    (at,) = (n for n, e in enumerate(events) if isinstance(e, PointDone) and e.result == clear)
    resumed = RunResumed(at=events[0].at, bench_s=0.0, operator="Ann", done=1)
    of_a_part_before = [*(forged(event, "") for event in events[:at]), resumed, *events[at:]]
    assert list(differing_thresholds(of_a_part_before)) == []


async def test_what_an_analyzer_worked_by_hand_needs_a_person_for(
    by_hand: Sequence[Event],
) -> None:
    assert isinstance(by_hand[-1], RunFinished)
    assert found(by_hand) == []
    _contradicted_by_its_other_threshold(by_hand)
    for words, told in (
        ("Foot switch: ", "the foot switch was pressed"),
        ("resistance to 1000 ohm", "a load of 1000 ohm was set by hand"),
        ("meter show now?", "readings were typed"),
        ("input to the HF leakage", "was joined to LEAKAGE by hand"),
        ("input to the contact quality", "was joined to CQUALITY by hand"),
        ("Set the contact quality", "contact resistances were set by hand"),
        ("Is the contact quality alarm", "a person saw the alarm change"),
        ("Set the generator to cut, 100 W", "was chosen by hand"),
    ):
        said = found(without(by_hand, words))
        assert said, words
        assert all(told in one for one in said), said


async def test_a_load_that_stands_from_the_run_before_need_not_be_asked_for(
    by_hand: Sequence[Event],
) -> None:
    asked = [e for e in by_hand if isinstance(e, Asked) and "resistance to 500 ohm" in e.question]
    assert found([e for e in by_hand if e is not asked[0]]) == []


async def test_of_loads_that_nobody_was_asked_for_the_second_is_named(
    by_hand: Sequence[Event],
) -> None:
    """Would notice a load taken as standing from the run before though another was in use."""
    said = found(without(by_hand, "analyzer's load resistance to"))
    assert said
    assert "a load of 1000 ohm was set by hand" in said[0]


async def test_an_alarm_that_nobody_saw_change_is_named(by_hand: Sequence[Event]) -> None:
    """Would notice that one of the two answers is enough for a threshold of the alarm."""
    for answer in ("yes", "no"):
        left = [
            e for e in by_hand
            if not (isinstance(e, Asked) and "quality alarm" in e.question and e.answer == answer)
        ]  # fmt: skip
        assert len(left) < len(by_hand)
        said = found(left)
        assert said, answer
        assert all("a person saw the alarm change" in one for one in said)


async def test_readings_typed_for_the_point_before_are_none_of_this_one(
    by_hand: Sequence[Event],
) -> None:
    """Would notice a point of which nobody typed a reading, with those of another one."""
    (begin, before), (end, done), *_ = (
        (number, event) for number, event in enumerate(by_hand) if isinstance(event, PointDone)
    )
    assert isinstance(before, PointDone)
    assert isinstance(done, PointDone)
    samples = before.result.samples
    copied = done.result.model_copy(update={"samples": samples})
    between = [
        e for e in by_hand[begin + 1 : end]
        if not (isinstance(e, Asked) and e.question.endswith("show now?"))
    ]  # fmt: skip
    events = (*by_hand[: begin + 1], *between, done.model_copy(update={"result": copied}))
    (said,) = (said for _, said in missing_requests(events))
    assert f"{len(samples)} of its {len(samples)} readings were typed" in said


async def test_a_call_to_leave_service_mode_that_nobody_answered_is_on_record(
    make_rig: Callable,
) -> None:
    """Would notice a run told to have gone on in service mode where a wait was given up."""
    rig = make_rig(seed=5, bench="attended", attended=True)
    job = Job(read_procedure(ATTENDED), STAGES, "test")
    events = [event async for event in run(job, rig.bench)]
    unanswered = [
        e.model_copy(update={"answer": NO_ANSWER})
        if isinstance(e, Asked) and e.question == LeaveService().text else e
        for e in events
    ]  # fmt: skip
    assert unanswered != events
    assert list(missing_requests(unanswered)) == []


async def test_one_typed_reading_that_was_left_out_is_named() -> None:
    events = await make_by_hand(ALL).run(ATTENDED, ("as_found",))
    typed = [e for e in events if isinstance(e, Asked) and e.question.endswith("show now?")]
    (said,) = found([e for e in events if e is not typed[2]])
    assert "1 of its" in said


async def test_another_version_may_have_asked_in_other_words() -> None:
    events = await make_by_hand(FOOT).run(ATTENDED, ("as_found",))
    (place,) = [i for i, e in enumerate(events) if isinstance(e, RunStarted)]
    older = [*events]
    older[place] = events[place].model_copy(update={"software": "ohmwright 0.0"})
    assert found(without(older, "Foot switch: ")) == []


async def test_a_plate_that_nobody_read_is_named(make_rig: Callable, path: Path) -> None:
    rig = make_rig(seed=5, bench="attended", attended=True)
    unit = RegisteredAsset(
        tag="HF-031", maker="Sorrelworks", model="Marlow 150", serial="TM1-00372"
    )
    await anyio.Path(path).write_text(PROCEDURE.replace("Quillon 300", "Marlow 150"))
    replies = _from({key: list(said) for key, said in SAID.items()})

    async def reply(request: Request, problem: str) -> str:
        return "0372" if isinstance(request, ReadSerialPlate) else await replies(request, problem)

    rig.bench.operator.reply = reply
    assignment = Assignment(registered=unit)
    job = Job(read_procedure(path), ("as_left",), "test", assignment=assignment)
    events = [event async for event in run(job, rig.bench)]
    assert found(events) == []
    (said,) = found(without(events, "Read the plate"))
    assert "the plate was read as '0372'" in said
    unknown = [e for e in without(events, "Read the plate") if not isinstance(e, UnitIdentified)]
    assert all("has its serial number read from its plate" in one for one in found(unknown))
    assert found(unknown)


async def test_a_unit_of_the_register_that_was_not_identified_is_named(
    make_rig: Callable, path: Path, given: Callable
) -> None:
    assignment = Assignment(registered=UNIT, given=given(CSV.format("0.08")))
    job = Job(read_procedure(path), ("as_left",), "test", assignment=assignment)
    events = [event async for event in run(job, make_rig().bench)]
    assert found(events) == []
    said = found([e for e in events if not isinstance(e, UnitIdentified)])
    assert said
    assert all("says its serial number is identified by it" in one for one in said)
