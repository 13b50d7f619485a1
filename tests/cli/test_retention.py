"""`record retention`: what is old is named and archived, and nothing is deleted."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest

from ohmwright.cli.open_records import open_records
from ohmwright.model.event import Event, Fault
from ohmwright.wire.clock import RealClock
from tests.records.some_events import AT, started, whole_run


def long_ago(event: Event, days: int) -> Event:
    return event.model_copy(update={"at": RealClock().wall() - timedelta(days=days)})


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Runs of five years ago, of two years ago and of one unit more, and one of now."""
    with open_records(str(tmp_path / "r")) as store:
        for name, asset, days in (("a", "U-1", 2000), ("b", "U-2", 800), ("c", "U-1", 0)):
            events = [long_ago(event, days) for event in whole_run(name, asset)]
            store.append_all(name, events)
    return tmp_path / "r"


def test_old_runs_are_archived_and_stay(ohmwright: Callable, place: Path, tmp_path: Path) -> None:
    file = tmp_path / "old.jsonl"
    shown = ohmwright(
        "record", "retention", "--older-than", "2y", "--archive", file, "--records", place
    )
    assert shown.code == 0
    assert "2 runs began before" in shown.out
    assert "The newest of its unit, so perhaps still needed: b" in shown.out
    assert "Nothing is deleted" in shown.out
    assert len(ohmwright("record", "list", "--records", place, "--json").json) == 3
    assert ohmwright("record", "verify", "--records", place).code == 0
    again = ohmwright("record", "import", file, "--records", tmp_path / "archive")
    assert "2 runs imported" in again.out
    older = ("record", "retention", "--records", place, "--json", "--older-than")
    assert [run["run"] for run in ohmwright(*older, "5y").json["runs"]] == ["a"]
    assert ohmwright(*older, "9000d").json["runs"] == []
    for wrong in ("10", "0y", "ten", "9999y"):
        refused = ohmwright(*older, wrong)
        assert (refused.code, "as 10y" in refused.err) == (2, True)


def test_a_refused_run_is_said_to_be_over_and_nowhere_to_be_resumed(
    ohmwright: Callable, place: Path, tmp_path: Path
) -> None:
    told = {"error": "WrongInstrument", "message": "another", "rf_state": "off"}
    with open_records(str(place)) as store:
        events = (started("r", "U-3"), Fault(at=AT, bench_s=1.0, **told))
        store.append_all("r", [long_ago(event, 900) for event in events])
    here = ("--records", place)
    old = ohmwright("record", "retention", "--older-than", "2y", *here).out
    assert "Refused before anything was measured, so signed by nobody: r\n" in old
    assert "Not finished" not in old
    for what in (("approve",), ("amend", "--reason", "x")):
        said = ohmwright("record", *what[:1], "r", *what[1:], *here)
        assert (said.code, "Run r was refused, and is over." in said.err) == (2, True)
        assert "--resume" not in said.err
    assert ohmwright("record", "export", tmp_path / "f.jsonl", *here).code == 0
    taken = ohmwright("record", "import", tmp_path / "f.jsonl", "--records", tmp_path / "o").out
    assert "Run r was refused before anything was measured, and is over" in taken
    assert "who resumes it" not in taken
