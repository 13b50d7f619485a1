"""The commands creep, interval and report on a store of simulated histories."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.records.sql_store import open_store
from scripts.creep_history import write_histories


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
    intervals = json.loads(ohmwright("record", "interval", "--json", *choice).out)
    assert [row["asset"] for row in intervals].count(None) == 2
    assert all(3 <= row["months"] <= 24 for row in intervals)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("creep",), "no values with limits"),
        (("creep", "--simulated", "--asset", "HF-9"), "asset HF-9"),
        (("creep", "--simulated", "--plot", "x.txt"), "no file with this ending"),
        (("interval", "--simulated", "--visit-cost", "3"), "A cost alone says nothing"),
        (("interval", "--simulated", "--shortest-months", "30"), "is more than"),
        (("report", "x.doc", "--simulated"), "no file with this ending"),
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
