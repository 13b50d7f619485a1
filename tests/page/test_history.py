"""What the page shows of a run on record."""

import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from ohmwright.api.open_records import open_records
from ohmwright.api.records_view import Records
from ohmwright.cli.run_summary import footer_lines
from ohmwright.engine.coach import NOT_SURE
from ohmwright.instruments.requests import LeaveService
from ohmwright.model.errors import UsageError
from ohmwright.model.event import (
    ActivationOpened,
    Asked,
    Event,
    Fault,
    PointDone,
    RunResumed,
    RunStarted,
    StepStarted,
)
from ohmwright.page.history import History
from ohmwright.reports.run_parts import parts_of_run
from ohmwright.reports.run_remarks import remarks_of_run
from tests.reports.conftest import a_run

RUN = "20260302T093000Z-HF-031-ab12"


def shown(place: Path, events: tuple[Event, ...]) -> dict[str, object]:
    with open_records(str(place)) as store:
        store.append_all(RUN, events)
    return History(str(place)).run(RUN)


def test_a_run_that_went_on_names_both_people_and_is_not_called_stopped(tmp_path: Path) -> None:
    begun, *rest = a_run(points=1)
    assert isinstance(begun, RunStarted)
    at = {"at": begun.at + timedelta(minutes=1), "bench_s": 60.0}
    stopped = Fault(**at, error="Stopped", message="The run was stopped.", rf_state="off")
    resumed = RunResumed(**at, operator="Oda Brandvik", done=0)
    found = shown(tmp_path, (begun, stopped, resumed, *rest))
    assert found["operator"] == "Imre Valdane, Oda Brandvik"
    assert found["ended_early"] == []
    first, second = found["interruptions"]  # type: ignore[misc]
    assert "interrupted" in first
    assert "The run was stopped." in first
    assert "by Oda Brandvik; finished" in second


def test_a_refused_run_says_why_in_the_list_and_by_itself(tmp_path: Path) -> None:
    begun, *_ = a_run(points=1)
    why = "The unit at the bench says 'S000003'; asset HF-030 has the serial number 'XQ-77'."
    refused = Fault(at=begun.at, bench_s=0.0, error="WrongInstrument", message=why, rf_state="off")
    with pytest.raises(UsageError, match="was refused") as said:
        shown(tmp_path, (refused,))
    assert said.value.means == why
    (listed,) = History(str(tmp_path)).runs("", "")["runs"]
    assert (listed["verdict"], listed["refused_because"]) == ("refused", why)
    assert (listed["asset"], listed["named"]) == ("", "HF-031")  # `record list` has it by that, too
    assert [run["run_id"] for run in History(str(tmp_path)).of_unit("HF-031")] == [RUN]
    assert History(str(tmp_path)).of_unit("HF-03") == []


def test_an_older_copy_in_place_of_the_records_is_told(tmp_path: Path) -> None:
    """A unit that had failed since was shown as one that had not been looked at."""
    begun, *_ = a_run(points=1)
    history, records = History(str(tmp_path)), Records(str(tmp_path))
    assert history.lost() == []
    with open_records(str(tmp_path)) as store:
        store.append(RUN, begun)
    older = sqlite3.connect(":memory:")
    with closing(sqlite3.connect(tmp_path / "records.sqlite")) as database:
        database.backup(older)
    shown(tmp_path, a_run(points=1)[1:])
    assert history.lost() == []
    assert len(records.runs()) == 1
    with closing(sqlite3.connect(tmp_path / "records.sqlite")) as database:
        older.backup(database)
    (told,) = history.lost()
    assert told.startswith("Warning: ")
    with pytest.warns(UserWarning, match="record verify") as warned:
        records.runs()
    assert warned[0].filename == __file__
    older.close()


def test_what_a_run_was_given_and_what_was_said_in_it_is_shown(tmp_path: Path) -> None:
    begun, *rest = a_run(points=1)
    assert isinstance(begun, RunStarted)
    found = shown(tmp_path, (begun.model_copy(update={"work_order": "WO-512"}), *rest))
    assert found["work_order"] == "WO-512"
    assert found["room"]
    assert found["remarks"] == list(remarks_of_run((begun, *rest)))


def test_a_record_that_ends_with_rf_on_says_so(tmp_path: Path) -> None:
    begun, *_ = a_run(points=1)
    opened = ActivationOpened(
        at=begun.at + timedelta(minutes=1), bench_s=60.0, load_ohm=500, limit_s=30
    )
    ended = shown(tmp_path, (begun, opened))["ended_early"]
    assert isinstance(ended, list)
    assert ended[0] == "The record ends without an end of the run."
    assert "limit of 30 s, and no reading of off is on record" in ended[1]


def test_a_warning_of_rf_is_dated_in_a_record_and_not_given_as_of_now(tmp_path: Path) -> None:
    begun, *_ = a_run(points=1)
    said = "RF MAY STILL BE ON: 40 mA read. Switch the generator off at its mains switch now."
    fault = Fault(
        at=begun.at + timedelta(minutes=1),
        bench_s=60.0,
        error="ReleaseNotConfirmed",
        message=said,
        rf_state="unknown",
    )
    (ended,) = shown(tmp_path, (begun, fault))["ended_early"]
    assert ended == (
        f"2026-03-02 09:31 UTC: “{said}” No later reading of RF is on record: see at the bench "
        "that it is off."
    )
    summary = "\n".join(map(str, footer_lines((begun, fault), (), parts_of_run((begun, fault)))))
    assert f"Cut short: {ended}" in summary
    off = fault.model_copy(update={"error": "OffNotProved", "message": "It reads off now."})
    (ended,) = shown(tmp_path / "off", (begun, off))["ended_early"]
    assert ended == "2026-03-02 09:31 UTC: “It reads off now.”"
    lost = fault.model_copy(update={"error": "LinkLost", "message": "The line is gone."})
    assert shown(tmp_path / "lost", (begun, lost))["ended_early"] == ["The line is gone."]


def test_a_run_cut_short_says_what_is_to_be_undone_at_the_unit(tmp_path: Path) -> None:
    begun, *_ = a_run(points=1)
    at = {"at": begun.at + timedelta(minutes=1), "bench_s": 60.0}
    step, left = StepStarted(**at, stage="adjust", step="p1"), "Leave service mode at P1."
    fault = Fault(**at, error="Stopped", message="m", rf_state="off", left_open=left)
    found = StepStarted(**at, stage="as_left", step="cut")
    out = Asked(**at, question=LeaveService().text, answer="done")
    again = RunResumed(**at, operator="Oda Brandvik", done=0)
    amid = "the unit may still be in service mode. Leave it without saving;"
    for folder, events, words in (
        ("told", (begun, step, fault), left),
        ("power cut", (begun, step), amid),
        ("later", (begun, step, found), ""),
        ("left", (begun, step, out), ""),
        ("resumed", (begun, step, fault, again), amid),
    ):
        said = "\n".join(shown(tmp_path / folder, events)["ended_early"])
        summary = "\n".join(map(str, footer_lines(events, (), parts_of_run(events))))
        for text in (said, summary):
            assert ("service mode" in text) is bool(words), folder
            assert words in text


def test_rf_on_time_and_whose_word_a_trim_is(tmp_path: Path) -> None:
    begun, *rest = a_run(points=1)
    at = {"at": begun.at + timedelta(minutes=1), "bench_s": 60.0}
    opened = ActivationOpened(**at, load_ohm=500, limit_s=15.4)
    resumed = RunResumed(**at, operator="Oda Brandvik", done=0)
    done = next(one for one in rest if isinstance(one, PointDone))
    moved = done.result.model_copy(
        update={"stage": "adjust", "trim_told_by": NOT_SURE, "start_trim": 4, "final_trim": -34}
    )
    found = shown(tmp_path, (begun, opened, resumed, done.model_copy(update={"result": moved})))
    more = "and at most 16 s more: an activation has no end on record"
    assert more in str(found["rf_on"])
    assert "the meter, which could not rule out a wrong press" in str(found["trims_told"])
    assert [one["trim"] for one in found["results"]] == ["4 to -34"]
