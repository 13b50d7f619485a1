"""The commands creep, interval and report on a store of simulated histories."""

import json
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest

from ohmwright.api.campaign_work import CampaignDesk
from ohmwright.api.creep import recorded_forecast
from ohmwright.api.open_records import open_records
from ohmwright.fleet.creep_filter import Histories
from ohmwright.fleet.creep_table import creep_observed, creep_rows
from ohmwright.model.result import TraceabilityBasis
from ohmwright.records.campaigns import Worker
from ohmwright.records.sql_store import open_store
from scripts.creep_history import NOW, write_histories
from tests.records.some_events import (
    EXPIRED,
    finished,
    point,
    stage,
    started,
    uncovered_run,
    whole_run,
)


@pytest.fixture(scope="module")
def records(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("creep")
    with open_store(str(folder / "records"), folder / "key", folder / "witness") as store:
        write_histories(store, units=4, years=3.0, seed=2)
    return folder / "records"


def test_what_is_printed_is_what_json_says(ohmwright: Callable, records: Path) -> None:
    choice = ("--simulated", "--records", records)
    outcome = ohmwright("record", "creep", "--json", "--at", "2026-06-02", *choice)
    assert outcome.err == ""
    rows = json.loads(outcome.out)
    assert (outcome.code, len(rows)) == (0, 8)
    assert [row["probability_out"] for row in rows] == sorted(
        (row["probability_out"] for row in rows), reverse=True
    )
    for row in rows:
        assert row["expected_from"] < row["expected"] < row["expected_to"]
    table = ohmwright("record", "creep", "--at", "2026-06-02", *choice).out
    one = ohmwright("record", "creep", "--asset", "HF-002", "--at", "2026-06-02", *choice).out
    assert all(table.count(f"HF-00{number}") == 1 for number in (1, 2, 3, 4))
    assert one.count(" W") >= 2
    for row in (row for row in rows if row["asset"] == "HF-002"):
        rate, sd = row["rate_percent_a_year"], row["rate_sd_percent_a_year"]
        assert f"{rate:+z.1f} ± {2 * sd:.1f} %" in one  # as the page, with k = 2
    assert "± twice its standard deviation (k = 2)" in table
    intervals = json.loads(ohmwright("record", "interval", "--json", *choice).out)
    assert [row["asset"] for row in intervals].count(None) == 2
    assert all(3 <= row["months"] <= 24 for row in intervals)


def test_a_due_date_as_told_rests_on_no_value_and_has_no_mark(
    ohmwright: Callable, tmp_path: Path
) -> None:
    """One of an analyzer without a certificate is on record, and another day counts."""
    here = ("--records", tmp_path / "r")
    with open_records(str(tmp_path / "r")) as store:
        store.append_all("a", uncovered_run("none"))
    unit = ("--maker", "T", "--model", "Q", "--serial", "1", "--last-passed", "2026-01-31")
    ohmwright("asset", "add", "HF-1", *unit, *here)
    assert "~" in (shown := ohmwright("worklist", *here).out)
    assert "*" not in shown
    assert [row["not_traceable"] for row in ohmwright("worklist", *here, "--json").json] == [False]


@pytest.mark.parametrize(
    ("basis", "column", "note"),
    [
        (
            "none",
            "not_traceable",
            "* in all or in part not traceable: no analyzer certificate covers those values",
        ),
        (EXPIRED, "analyzer_past_due", "* in all or in part by an analyzer past due"),
    ],
)
def test_risks_of_values_that_no_certificate_in_date_covers_are_marked(
    ohmwright: Callable, tmp_path: Path, basis: TraceabilityBasis, column: str, note: str
) -> None:
    here = ("--records", tmp_path / "r")
    with open_records(str(tmp_path / "r")) as store:
        store.append_all("a", uncovered_run(basis))
        store.append_all("b", whole_run("b", "HF-2"))
    for tag in ("HF-1", "HF-2"):
        unit = ("--maker", "T", "--model", "Q", "--serial", tag)
        assert ohmwright("asset", "add", tag, *unit, *here).code == 0
    for words in (("worklist",), ("record", "creep"), ("worklist",)):  # by dates, by a forecast
        rows = ohmwright(*words, *here, "--json").json
        marks = {row.get("tag", row.get("asset")): row[column] for row in rows}
        assert marks == {"HF-1": True, "HF-2": False}
        shown = ohmwright(*words, *here).out
        lines = {line.split()[0]: line for line in shown.splitlines() if line.startswith("HF-")}
        assert {tag: "%*" in line for tag, line in lines.items()} == marks
        assert note in shown
    ohmwright("campaign", "new", "may", "--work", "verify", *here)
    with open_records(str(tmp_path / "r")) as store:
        desk = CampaignDesk(store, "may", Worker("Fenn", "bench"))
        desk.begin("HF-1", "a")
        desk.begin("HF-2", "b")
    units = ohmwright("campaign", "report", "may", *here, "--json").json["units"]
    assert {(unit["tag"], unit["verdict"], unit[column]) for unit in units} == {
        ("HF-1", "pass", True),
        ("HF-2", "pass", False),
    }
    report = ohmwright("campaign", "report", "may", *here).out
    assert (report.count("pass*"), note[:40] in report) == (1, True)
    one = ohmwright("record", "creep", "--asset", "HF-2", *here).out
    assert "*" not in one
    assert "%*" in ohmwright("record", "creep", "--asset", "HF-1", *here).out
    fleet = ohmwright("record", "fleet", *here, "--json").json["units"]
    assert {row["asset"]: row[column] for row in fleet} == marks
    shown = ohmwright("record", "fleet", *here).out
    assert {line.split()[0]: "*" in line for line in shown.splitlines()[1:3]} == marks
    assert note[:40] in shown


def test_a_unit_is_marked_for_any_of_its_points(ohmwright: Callable, tmp_path: Path) -> None:
    """Its line names the riskiest, and its risk within the year may be another one's."""
    near, other = point("100 ohm", value=83.95), point("500 ohm")
    bare = other.result.model_copy(update={"traceability": "none"})
    with open_records(str(tmp_path / "r")) as store:
        events = (started("a"), stage(), near, other.model_copy(update={"result": bare}))
        store.append_all("a", [*events, finished()])
    shown = ohmwright("record", "creep", "--records", tmp_path / "r").out
    (line,) = [line for line in shown.splitlines() if line.startswith("HF-1")]
    assert ("100 ohm" in line, "%*" in line) == (True, True)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("creep",), "no values with limits"),
        (("creep", "--simulated", "--asset", "HF-9"), "asset HF-9"),
        (("creep", "--simulated", "--plot", "x.txt"), "cannot be written with this ending"),
        (("interval", "--simulated", "--visit-cost", "3"), "A cost alone says nothing"),
        (("interval", "--simulated", "--shortest-months", "30"), "is more than"),
        (("report", "x.doc", "--simulated"), "cannot be written with this ending"),
        (("report", "x.pdf", "--since", "2026-02-01", "--until", "2026-01-01"), "is not before"),
        (("report", "x.pdf", "--until", "2001-01-01"), "no results of real units"),
    ],
)
def test_what_cannot_be_done_is_said(
    ohmwright: Callable, records: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    words: tuple[str, ...], said: str,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    outcome = ohmwright("record", *words, "--records", records)
    assert outcome.code == 2
    assert said in " ".join(outcome.err.split())
    assert list(tmp_path.glob("x.*")) == []


def test_a_unit_with_one_visit_has_never_been_seen_to_creep(
    ohmwright: Callable, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with open_store(str(tmp_path / "r"), tmp_path / "key", tmp_path / "witness") as store:
        write_histories(store, units=2, years=0.1, seed=2)
    choice = ("--simulated", "--records", tmp_path / "r")
    rows = json.loads(ohmwright("record", "creep", "--json", *choice).out)
    assert {(row["rate_percent_a_year"], row["leaves_at"]) for row in rows} == {(None, None)}
    for command in (("creep",), ("creep", "--asset", rows[0]["asset"])):
        table = ohmwright("record", *command, *choice).out
        assert "never observed" in table
        assert "not known" in table
        assert " ± " not in table


def test_what_its_only_visit_shows_is_dated_without_creep(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "r"), tmp_path / "key", tmp_path / "witness") as store:
        write_histories(store, units=2, years=0.1, seed=2)
        forecast = recorded_forecast(store, simulated=True)
    rows = creep_rows(forecast, NOW, probability=1e-12)
    assert {row.rate_percent for row in rows} == {None}
    dated = [row.leaves_at - row.last_at for row in rows if row.leaves_at is not None]
    assert dated
    assert max(dated) < timedelta(days=4)
    later = creep_rows(forecast, NOW, probability=0.3)
    assert {row.leaves_at for row in later} == {None}


def test_nothing_below_zero_is_expected_of_a_current_or_power(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "r"), tmp_path / "key", tmp_path / "witness") as store:
        write_histories(store, units=2, years=0.1, seed=2)
        forecast = recorded_forecast(store, simulated=True)
    rows = creep_rows(forecast, NOW + timedelta(days=365 * 30), coverage=0.999999)
    assert any(row.lower == 0.0 for row in rows)  # the interval itself goes below
    assert all(0.0 <= row.lower <= row.expected for row in rows)


def test_creep_is_observed_from_one_visit_to_the_next_without_an_adjustment_between() -> None:
    year, day = 1.0, 1.0 / 365.0
    for times, adjusted, known, observed in (
        ([0.0, 0.0], [False, False], [True, False], False),  # one value
        ([0.0, day], [False, False], [True, True], False),  # as found and as left
        ([0.0, year], [False, False], [True, True], True),
        ([0.0, year], [False, True], [True, True], False),  # adjusted since
        ([0.0, year], [False, False], [True, False], False),  # padding
    ):
        one = np.ones((1, 2))
        seen = Histories(np.array([times]), one, one, np.array([adjusted]), np.array([known]))
        assert creep_observed(seen).tolist() == [observed], (times, adjusted, known)
