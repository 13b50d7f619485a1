"""A run that is half done on one computer goes on at another, and never at both unnoticed."""

from collections.abc import Callable
from pathlib import Path

import pytest

from ohmwright.cli.open_records import open_records
from ohmwright.model.errors import UsageError
from tests.records.some_events import finished, point, stage, whole_run


@pytest.fixture
def here(tmp_path: Path) -> Path:
    """A finished run, and one that ends after its first point."""
    with open_records(str(tmp_path / "here")) as store:
        store.append_all("done", whole_run("done"))
        store.append_all("half", whole_run("half")[:3])
    return tmp_path / "here"


def go_on(place: Path, *events: object) -> None:
    with open_records(str(place)) as store:
        store.claim("half")
        store.append_all("half", events)  # type: ignore[arg-type]


def test_it_goes_on_where_it_was_handed_over_and_comes_back(
    ohmwright: Callable, here: Path, tmp_path: Path
) -> None:
    there, file, back = tmp_path / "there", tmp_path / "half.jsonl", tmp_path / "back.jsonl"
    told = ohmwright("record", "hand-over", "half", file, "--records", here)
    assert (told.code, "does not go on here" in told.out) == (0, True)
    with pytest.raises(UsageError, match="handed over to another computer"):
        go_on(here, finished())
    assert ohmwright("record", "verify", "--records", here).code == 0
    twice = ohmwright("record", "hand-over", "half", tmp_path / "x", "--records", here)
    assert (twice.code, (tmp_path / "x").exists()) == (2, False)
    assert "on one computer alone" in ohmwright("record", "import", file, "--records", there).out
    go_on(there, point("500 ohm"), finished())
    assert ohmwright("record", "export", back, "--records", there).code == 0
    assert (
        "1 of those on record continued"
        in ohmwright("record", "import", back, "--records", here).out
    )
    assert ohmwright("record", "verify", "--records", here).code == 0
    verdicts = [
        row["verdict"] for row in ohmwright("record", "list", "--records", here, "--json").json
    ]
    assert verdicts == ["pass", "pass"]


def test_where_both_went_on_one_is_refused_and_all_else_comes_in(
    ohmwright: Callable, here: Path, tmp_path: Path
) -> None:
    there, file, back = tmp_path / "there", tmp_path / "half.jsonl", tmp_path / "back.jsonl"
    assert ohmwright("record", "hand-over", "half", file, "--records", here).code == 0
    assert ohmwright("record", "import", file, "--records", there).code == 0
    told = ohmwright("record", "take-back", "half", "--records", here)
    assert (told.code, "one of both copies will be refused" in told.out) == (0, True)
    go_on(here, stage(9.0))
    go_on(there, finished())
    with open_records(str(there)) as store:
        store.append_all("more", whole_run("more"))
    assert ohmwright("record", "export", back, "--records", there).code == 0
    merged = ohmwright("record", "import", back, "--records", here)
    assert merged.code == 2
    assert "event 4 is another one, of 4 here and 4 in the file" in merged.err
    assert "1 runs imported" in merged.out
    assert "1 were refused" in merged.out
    assert ohmwright("record", "verify", "--records", here).code == 0
    go_on(here, finished())  # what is here was not touched


def test_what_is_finished_or_not_handed_over_stays(
    ohmwright: Callable, here: Path, tmp_path: Path
) -> None:
    for command in (("hand-over", "done", tmp_path / "x"), ("take-back", "half")):
        assert ohmwright("record", *command, "--records", here).code == 2
    assert not (tmp_path / "x").exists()
    taken = tmp_path / "taken.jsonl"
    taken.write_text("mine")
    assert ohmwright("record", "hand-over", "half", taken, "--records", here).code == 2
    go_on(here, finished())  # it stays here where the file could not be written
