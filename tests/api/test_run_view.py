"""The picture of a run: what it says is so, and it does not grow."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from ohmwright.api import open_bench as open_bench_module
from ohmwright.api.bench_data import read_bench
from ohmwright.api.open_bench import open_bench, simulated_bench
from ohmwright.api.reading_picture import band_picture
from ohmwright.api.rf_words import rf_picture
from ohmwright.api.run_notices import unsaved_text
from ohmwright.api.run_picture import RunPicture
from ohmwright.api.run_plan import PlannedPoint, planned_points
from ohmwright.api.run_view import NOTICES_KEPT, RESULTS_KEPT, TREND_READINGS, RunWatch, watch_of
from ohmwright.engine.as_left_evidence import MAY_BE_UNSAVED
from ohmwright.engine.job import Job
from ohmwright.engine.procedure_file import read_procedure
from ohmwright.engine.run import run
from ohmwright.instruments.requests import PressKey
from ohmwright.model.bench_status import BenchStatus, TargetBand
from ohmwright.model.cue import Cue
from ohmwright.model.event import (
    Fault,
    PointDone,
    RunFinished,
    RunResumed,
    SlowRelease,
    StepStarted,
    UnitIdentified,
)
from ohmwright.model.registered_asset import RegisteredAsset
from ohmwright.model.result import Result, Sample, SweepValue
from ohmwright.model.shipped import shipped
from ohmwright.model.step import STAGES
from ohmwright.simulator.bench import SimulatedBench
from tests.records.some_events import started, uncovered_run

NOW = {"at": datetime(2026, 1, 1, tzinfo=UTC), "bench_s": 0.0}
AIM = TargetBand(886.0, 900.0, 910.0)
ON = BenchStatus("on", 100.0, age_s=3.0, left_s=12.0, current_ma=893.0, aim=AIM)


@pytest.mark.anyio
async def test_a_run_is_pictured_as_it_goes(bench_file: Path) -> None:
    file = read_procedure(shipped("procedures", "demo-monopolar.toml"))
    steps = tuple(s for s in file.procedure.step if s.name in ("cut-full", "adjust-cut-current"))
    file = replace(file, procedure=file.procedure.model_copy(update={"step": steps}))
    job = Job(file, STAGES, "seen")
    watch = watch_of(job)
    pictures, foretold_s = list[RunPicture](), list[float]()
    async with open_bench(read_bench(bench_file), unattended=True) as bench:

        def look(moment: BenchStatus) -> None:
            watch.on_status(moment)
            picture = watch.picture(bench.clock.now_s())
            assert picture.rf.state == moment.rf
            assert (picture.current_ma is None) == (moment.current_ma is None)
            pictures.append(picture)

        begun_s = bench.clock.now_s()
        async for event in run(job, bench, look):
            watch.on_event(event)
            picture = watch.picture(bench.clock.now_s())
            if isinstance(event, PointDone):
                foretold_s.append(picture.now_s + (picture.left_s or 0.0))
    assert isinstance(event, RunFinished)
    assert (picture.state, picture.verdict) == ("finished", event.verdict)
    assert picture.points_done == picture.points_total == 11
    assert sum(picture.verdicts.values()) == len(picture.results) == 11
    assert picture.on_s == pytest.approx(event.on_s, abs=0.1)
    assert (picture.left_s, picture.comes_next) == (None, "")
    # halfway, the end was foretold within half of the whole time: a point near its limit came then
    assert abs(foretold_s[5] - picture.now_s) < (picture.now_s - begun_s) / 2
    assert "as found: cut-full, 500 ohm" in {one.place for one in pictures}
    assert {"200 ohm", "adjustment: adjust-cut-current, cut current", "the end of the run"} <= {
        one.comes_next for one in pictures
    }
    assert RunPicture.model_validate_json(pictures[-1].model_dump_json()) == pictures[-1]


def test_memory_is_bounded() -> None:
    watch = RunWatch()
    result = Result(stage="as_left", step="s", point="", kind="sweep", verdict="pass")
    for i in range(2 * TREND_READINGS):
        watch.on_status(ON._replace(bench_s=100 + 0.01 * i))
        point = result.model_copy(update={"point": str(i)})
        watch.on_event(PointDone(**NOW, result=point))
        watch.notify(f"Look at {i}.", 0.0)
    picture = watch.picture(124.0)
    assert len(picture.trend) == TREND_READINGS
    assert len(picture.results) == RESULTS_KEPT
    assert picture.results[-1].point == str(2 * TREND_READINGS - 1)
    assert len(picture.notices) == NOTICES_KEPT


def test_a_value_without_limits_is_measured_and_not_undecided() -> None:
    watch = RunWatch()
    result = Result(stage="as_found", step="s", point="p", kind="sweep", verdict="undecided")
    settled = result.model_copy(update={"sweep": SweepValue(repeat=1, settled=True)})
    for one in (settled, result.model_copy(update={"point": "of another step"})):
        watch.on_event(PointDone(**NOW, result=one))
    picture = watch.picture(0.0)
    assert [one.verdict for one in picture.results] == ["measured", "undecided"]
    assert picture.verdicts == {"measured": 1, "undecided": 1}


def test_an_off_without_effect_is_told_however_soon_the_next_one_had_it() -> None:
    watch = RunWatch()
    watch.on_event(SlowRelease(**NOW, took_s=0.1, sent=2))
    watch.on_event(SlowRelease(**NOW, took_s=1.2, sent=1))
    again, slow = (notice.words for notice in watch.picture(0.0).notices)
    assert again == "OFF was sent 2 times: RF was read back as off 0.1 s after the first."
    assert slow == "RF was read back as off 1.2 s after OFF."


def test_what_came_of_an_activation_is_told_until_the_next() -> None:
    watch = RunWatch()
    watch.on_event(SlowRelease(**NOW, took_s=18.4, keyed_by="A. Fenn"))
    typed = (Sample(current_ma=447, age_s=5), Sample(current_ma=446, age_s=6))
    result = Result(stage="as_found", step="s", point="p", kind="output", verdict="not measured")
    few = result.model_copy(
        update={"reason": "too few", "samples": typed, "readings_told_by": "A. Fenn"}
    )
    watch.on_event(PointDone(**NOW, result=few))
    slow, why = (notice.words for notice in watch.picture(0.0).notices)
    assert slow.endswith("told to release the foot switch; 18 s later the meter showed no current.")
    assert why == "s, p: not measured: too few (2 typed; a value takes 4 at least)."
    watch.on_status(ON._replace(rf="coming on"))
    assert watch.picture(0.0).notices == ()


def test_the_trend_is_of_the_last_minute() -> None:
    watch = RunWatch()
    for second in range(100):
        watch.on_status(ON._replace(bench_s=float(second)))
    assert [point.bench_s for point in watch.picture(99.0).trend] == [
        float(s) for s in range(39, 100)
    ]


def test_a_reading_grows_stale_and_is_said_to_be() -> None:
    assert rf_picture(None, 5.0).state == "not read"
    rest = BenchStatus("off", 100.0, rest_left_s=14.0)
    fresh, stale = rf_picture(rest, 100.5), rf_picture(rest, 130.0)
    assert (fresh.line, fresh.stale, fresh.rest_left_s) == ("RF OFF", False, 13.5)
    assert (stale.line, stale.stale, stale.rest_left_s) == (
        "RF OFF, last read 30 s ago",
        True,
        None,
    )
    watch = RunWatch()
    watch.on_status(ON)
    assert watch.picture(100.9).current_ma == 893.0
    late = watch.picture(107.0)
    assert late.current_ma is None
    assert late.rf.line == "RF ON, last read 7 s ago"
    assert (late.rf.age_s, late.rf.left_s) == (10.0, 5.0)


@pytest.mark.parametrize(
    ("rf_follows", "said"), [(False, ""), (True, "RF comes on after this, keyed by the program.")]
)
def test_before_anything_was_read_nothing_is_claimed_of_rf(rf_follows: bool, said: str) -> None:
    """Would notice a first picture that takes RF for off, for on, or for read just now."""
    watch = RunWatch()
    request = replace(PressKey("coarse", "up", 2), rf_follows=rf_follows)
    watch.open_request(request, "", by_foot=False)
    picture = watch.picture(5.0)
    rf = picture.rf
    assert (rf.state, rf.line, rf.urgency) == ("not read", "RF NOT READ YET", "care")
    assert rf.stale
    assert (rf.read_s, rf.age_s, rf.left_s, rf.rest_left_s) == (None, None, None, None)
    assert (picture.current_ma, picture.on_s) == (None, 0.0)
    assert picture.request is not None
    assert picture.request.rf_words == said


def test_a_place_in_the_band_counts_each_side_by_its_own_width() -> None:
    assert band_picture(AIM, 893.0).position == -0.5
    assert band_picture(AIM, 905.0).position == 0.5
    assert band_picture(AIM, 911.0).inside is False
    assert band_picture(AIM, None).inside is None


@pytest.mark.parametrize("per_s", [1, 10])
def test_a_reading_is_held_against_limits_once_it_has_settled(per_s: int) -> None:
    watch = RunWatch()
    watch.on_status(ON._replace(bench_s=99.0, current_ma=900.0))  # of the activation before
    seen = list[str]()
    for n in range(12 * per_s):
        age_s = n / per_s
        current_ma = 880.0 * (1 - math.exp(-age_s))
        watch.on_status(ON._replace(bench_s=100 + age_s, age_s=age_s, current_ma=current_ma))
        band = watch.picture(100 + age_s).band
        assert band is not None
        if band.movement not in seen:
            seen.append(band.movement)
        assert band.movement != "settled" or current_ma > 870.0
    assert seen == ["not known", "rising", "settled"]
    watch.on_status(ON._replace(bench_s=115.0, age_s=15.0, current_ma=800.0))
    band = watch.picture(115.0).band
    assert band is not None
    assert band.movement == "falling"


def test_cue_and_request_are_shown_while_they_stand() -> None:
    watch = RunWatch()
    cue = Cue("press", "Press coarse up twice.", "coarse", "up", 2)
    watch.on_status(ON._replace(cue=cue))
    watch.open_request(PressKey("coarse", "up", 2), "", by_foot=False)
    picture = watch.picture(100.0)
    assert picture.cue is not None
    assert picture.request is not None
    assert (picture.cue.words, picture.cue.presses) == (cue.words, 2)
    assert [answer.word for answer in picture.request.answers] == ["done"]
    watch.close_request()
    watch.on_status(ON)
    picture = watch.picture(100.0)
    assert (picture.cue, picture.request) == (None, None)


@pytest.mark.anyio
async def test_rf_was_never_on_for_longer_than_the_picture_says(
    bench_file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    built = list[SimulatedBench]()

    def kept(*args: Any) -> SimulatedBench:
        built.append(simulated_bench(*args))
        return built[-1]

    monkeypatch.setattr(open_bench_module, "simulated_bench", kept)
    file = read_procedure(shipped("procedures", "demo-monopolar.toml"))
    steps = tuple(s for s in file.procedure.step if s.name in ("cut-full", "adjust-cut-current"))
    file = replace(file, procedure=file.procedure.model_copy(update={"step": steps}))
    watch, seen = RunWatch(), list[tuple[str, float]]()
    async with open_bench(read_bench(bench_file), unattended=True) as bench:

        def look(moment: BenchStatus) -> None:
            watch.on_status(moment)
            picture = watch.picture(bench.clock.now_s())
            truth_s = built[-1].truth.rf_on_s
            assert picture.on_s >= truth_s - 1e-6, moment
            seen.append((moment.rf, picture.on_s - truth_s))

        async for event in run(Job(file, STAGES, "seen"), bench, look):
            watch.on_event(event)
            assert watch.picture(bench.clock.now_s()).on_s >= built[-1].truth.rf_on_s - 1e-6
    assert {rf for rf, _ in seen} >= {"coming on", "on", "going off", "off"}
    assert isinstance(event, RunFinished)
    assert watch.picture(bench.clock.now_s()).on_s == pytest.approx(event.on_s, abs=0.01)


def test_the_end_tells_what_the_verdict_rests_on() -> None:
    watch = RunWatch()
    for event in uncovered_run("not covered"):
        watch.on_event(event)
    picture = watch.picture(3.0)
    assert (picture.verdict, picture.verdict_qualified) == ("pass", "not traceable")


def test_rf_that_may_be_on_counts_until_it_is_read_as_off() -> None:
    watch = RunWatch()
    watch.on_status(BenchStatus("unknown", 100.0, on_s=30.0, on_at_s=95.0))
    assert [watch.picture(now_s).on_s for now_s in (100.0, 160.0)] == [35.0, 95.0]
    watch.on_status(BenchStatus("off", 160.0, on_s=40.0))
    assert watch.picture(200.0).on_s == 40.0
    watch.on_status(BenchStatus("off", 170.0))  # of a session that goes on with the same run
    assert watch.picture(200.0).on_s == 40.0


def test_points_of_a_step_that_is_done_anew_are_to_be_done_again() -> None:
    plan = [PlannedPoint("as_left", "s", str(i), "output", 10.0) for i in range(3)]
    watch = RunWatch(plan, finished=[plan[0].key])
    step = StepStarted(**NOW, stage="as_left", step="s")
    result = Result(stage="as_left", step="s", point="1", kind="output", verdict="fail")
    watch.on_event(step)
    assert watch.picture(0.0).points_done == 1
    watch.on_event(PointDone(**NOW, result=result))
    assert (watch.picture(0.0).points_done, watch.picture(0.0).point) == (2, "2")
    watch.on_event(step)
    assert (watch.picture(0.0).points_done, watch.picture(0.0).point) == (0, "0")


def test_time_left_is_learned_from_the_points_done() -> None:
    plan = [PlannedPoint("as_left", "s", str(i), "output", 10.0) for i in range(4)]
    watch = RunWatch(plan)
    watch.on_event(RunResumed(**NOW, operator="a", done=0))
    assert watch.picture(0.0).left_s == 40.0
    result = Result(stage="as_left", step="s", point="0", kind="output", verdict="pass")
    watch.on_event(PointDone(**{**NOW, "bench_s": 20.0}, result=result))
    assert watch.picture(20.0).left_s == 60.0
    assert watch.picture(30.0).left_words == "about 50 s left"
    over = "longer than foreseen"
    # the second was to take 20 s, until 40 s
    said = [watch.picture(now_s).left_words for now_s in (43.0, 49.9, 50.1)]
    assert said == ["about 40 s left", "about 40 s left", f"{over}, then about 40 s"]
    for number, done_s in (("1", 60.0), ("2", 80.0)):
        result = result.model_copy(update={"point": number})
        watch.on_event(PointDone(**{**NOW, "bench_s": done_s}, result=result))
    said = [watch.picture(now_s).left_words for now_s in (80.0, 100.0, 109.9, 140.0)]
    assert said == ["about 30 s left", "less than 10 s left", "about to end", over]


def test_a_long_point_may_take_a_quarter_longer_than_foreseen() -> None:
    watch = RunWatch([PlannedPoint("as_left", "s", "p", "output", 80.0)])
    watch.on_event(RunResumed(**NOW, operator="a", done=0))
    said = [watch.picture(now_s).left_words for now_s in (70.0, 81.0, 99.0, 101.0)]
    assert said == ["about 10 s left", *["about to end"] * 2, "longer than foreseen"]


def test_a_run_that_ends_early_has_no_time_left() -> None:
    watch = RunWatch([PlannedPoint("as_left", "s", "p", "output", 80.0)])
    watch.on_event(RunResumed(**NOW, operator="a", done=0))
    fault = Fault(**NOW, error="Stopped", message="It was stopped.", rf_state="off")
    watch.on_event(fault)
    picture = watch.picture(30.0)
    assert (picture.state, picture.left_s) == ("ended early", None)
    assert picture.notices[-1].words == "It was stopped."


def test_a_quick_answer_makes_no_measurement_quicker() -> None:
    asked = PlannedPoint("as_left", "cords", "answer", "inspection", 20.0, timed=False)
    watch = RunWatch([asked, PlannedPoint("as_left", "s", "p", "output", 30.0)])
    watch.on_event(RunResumed(**NOW, operator="a", done=0))
    result = Result(
        stage="as_left", step="cords", point="answer", kind="inspection", verdict="pass"
    )
    watch.on_event(PointDone(**{**NOW, "bench_s": 1.0}, result=result))
    assert watch.picture(1.0).left_s == 30.0


def test_no_time_runs_down_while_somebody_is_asked() -> None:
    watch = RunWatch([PlannedPoint("adjust", "s", "p", "adjust", 80.0)])
    watch.on_event(RunResumed(**NOW, operator="a", done=0))
    watch.hold(10.0)
    assert [watch.picture(now_s).left_s for now_s in (20.0, 300.0)] == [70.0, 70.0]
    watch.go_on(310.0)
    assert watch.picture(320.0).left_s == 60.0
    assert watch.picture(320.0).left_words == "about 60 s left"


def test_an_adjustment_by_hand_is_foreseen_longer() -> None:
    procedure = read_procedure(shipped("procedures", "practice-marlow.toml")).procedure
    (by_port,), (by_hand,) = (
        planned_points(procedure, ("adjust",), by_hand=by_hand) for by_hand in (False, True)
    )
    assert by_hand.expected_s == 2 * by_port.expected_s


@pytest.mark.parametrize(
    ("by_foot", "note"),
    [
        (True, "hold: reading asked for soon"),
        (False, "reading asked for soon"),
    ],
)
def test_before_the_first_typed_reading_it_is_told_to_come(by_foot: bool, note: str) -> None:
    """The first seconds said "no new reading", and nothing of holding the foot switch."""
    watch = RunWatch()
    first = ON._replace(current_ma=None, read_by_eye=True, keyed_by_foot=by_foot)
    watch.on_status(first)
    picture = watch.picture(first.bench_s + 2.0)
    assert picture.reading_note == note
    watch.on_status(first._replace(read_by_eye=False))
    assert watch.picture(first.bench_s + 2.0).reading_note == ""


def test_a_typed_reading_stands_until_the_next_beside_its_age() -> None:
    watch = RunWatch()
    watch.on_status(ON._replace(read_by_eye=True))
    later = watch.picture(106.0)
    assert (later.reading, later.reading_note) == ("893.0", "typed 6 s ago")
    watch.on_status(ON._replace(rf="going off", current_ma=None, bench_s=107.0, read_by_eye=True))
    ended = watch.picture(107.0)
    assert (ended.reading, ended.reading_note) == ("", "")
    watch.on_status(ON._replace(bench_s=108.0))
    assert watch.picture(108.0).reading_note == ""


@pytest.mark.parametrize(
    ("current_ma", "digit_ma", "shown"),
    [
        (513.0, 1.0, "513"),
        (4.0, 1.0, "4"),
        (513.04, 0.1, "513.0"),
        (513.04, 0.01, "513.0"),
        (1513.04, 0.1, "1513"),
        (513.04, None, "513.0"),
        (None, 1.0, ""),
    ],
)
def test_a_reading_has_no_digit_that_the_meter_has_not(
    current_ma: float | None, digit_ma: float | None, shown: str
) -> None:
    watch = RunWatch()
    watch.on_status(BenchStatus("on", 100.0, current_ma=current_ma, digit_ma=digit_ma))
    assert watch.picture(100.0).reading == shown


def test_who_is_asked_to_read_the_plate_does_not_see_its_serial_number() -> None:
    watch, begun = RunWatch(), started("one")
    unit = RegisteredAsset(tag="HF-1", maker="m", model="x", serial="S1", procedure="p.toml")
    watch.on_event(begun)
    assert f"serial {begun.asset.serial}" in watch.picture(0.0).unit  # nobody is asked
    watch.on_event(begun.model_copy(update={"registered": unit}))
    assert "serial" not in watch.picture(0.0).unit
    watch.on_event(UnitIdentified(**NOW, seen="S1", told_by="A. Fenn"))
    assert f"serial {begun.asset.serial}" in watch.picture(0.0).unit
    watch.on_event(RunResumed(**NOW, operator="A. Fenn", done=0))
    assert "serial" not in watch.picture(0.0).unit  # it is asked for once more


def test_what_may_not_have_been_saved_is_told_of_the_latest_results_alone() -> None:
    """The page's record of a run that passed said nothing of it."""
    left = Result(stage="as_left", step="cut", point="300 ohm", kind="output", verdict="pass")
    doubtful = left.model_copy(update={"reason": f"P1 landed at 892 mA: {MAY_BE_UNSAVED}"})
    assert unsaved_text([left]) == ""
    assert unsaved_text([doubtful, left]) == ""  # measured again since
    said = unsaved_text([left, doubtful])
    assert said.startswith(f"As left, cut, 300 ohm: {MAY_BE_UNSAVED}. Look whether")
